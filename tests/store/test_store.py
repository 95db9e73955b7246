"""The store: facts come back to the digit, whole transactions, one writer at a time."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from itertools import count
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thalweg.errors import InputError
from thalweg.record.case import ImageRecord, Person
from thalweg.record.fact import Fact, Mark, Origin
from thalweg.store import NewSeries, Store, default_home, digest_files, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PERSON = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
NUMBERS = count()
DAY = date(2026, 3, 2)
ORIGIN = Origin("table", "labs.csv row 2")


def weight(value: str = "72.0", at: date = DAY) -> Fact:
    return Fact("weight", Decimal(value), "kg", at, ORIGIN)


def new_series(folder: Path, uid: str = "1.2.3", count: int = 3) -> NewSeries:
    folder.mkdir(exist_ok=True)
    paths = []
    for number in range(count):
        path = folder / f"{number}.dcm"
        path.write_bytes(f"plane {number} of {uid}".encode() * 1000)
        paths.append(path)
    record = ImageRecord(
        uid, "CT", "2026-03-02", digest_files(paths), folder.name, True, ("Thin.",)
    )
    return NewSeries(record, tuple(paths))


def files_below(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


@pytest.fixture(scope="module")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("empty") / "home"
    Store(home).close()
    return home


@pytest.fixture
def store(tmp_path: Path, empty_home: Path) -> Iterator[Store]:
    shutil.copytree(empty_home, tmp_path / "home")
    with Store(tmp_path / "home") as opened:
        yield opened


# ---- round trip ---------------------------------------------------------------------------------

offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
moments = st.dates() | st.datetimes(timezones=offsets)
numbers = st.floats(allow_nan=False, allow_infinity=False)
points = st.tuples(numbers, numbers, numbers)
marks = st.builds(
    Mark,
    points_mm=st.lists(points, min_size=1, max_size=4).map(tuple),
    radius_mm=st.none() | numbers,
    normal=st.none() | points,
    series_uid=st.text(max_size=20),
)
values = st.decimals(allow_nan=False, allow_infinity=False) | st.booleans() | st.text() | marks
all_facts = st.builds(
    Fact,
    concept=st.text(min_size=1, max_size=20),
    value=values,
    unit=st.text(min_size=1, max_size=10),
    at=moments,
    origin=st.builds(Origin, st.text(max_size=10), st.text(max_size=30)),
    label=st.text(max_size=20),
    questions=st.lists(st.text(max_size=30), max_size=3).map(tuple),
)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store(tmp_path_factory.mktemp("shared")) as opened:
        yield opened


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    facts=st.lists(all_facts, min_size=1, max_size=5, unique_by=lambda fact: fact.id),
    name=st.text(min_size=1, max_size=20),
)
def test_facts_come_back_as_they_were(shared: Store, facts: list[Fact], name: str) -> None:
    done = shared.record(Person(f"SU-{next(NUMBERS)}", name, DAY, "male"), facts)
    found = shared.get_case(done.case_id)
    assert found.person.name == name
    assert list(found.facts) == facts
    for one, other in zip(found.facts, facts, strict=True):
        assert one.id == other.id
        assert repr(one.value) == repr(other.value)
        assert one.at.isoformat() == other.at.isoformat()


def test_images_come_back_in_order(store: Store, tmp_path: Path) -> None:
    given = new_series(tmp_path / "ct")
    done = store.record(PERSON, [], [given])
    (record,) = store.get_case(done.case_id).images
    assert record == given.record
    kept = store.image_files(record)
    assert [path.read_bytes() for path in kept] == [path.read_bytes() for path in given.sources]
    assert all(path.name == hashlib.sha256(path.read_bytes()).hexdigest() for path in kept)
    assert verify(store) == []


# ---- cases --------------------------------------------------------------------------------------


def test_case_ids_are_random_and_say_nothing(tmp_path: Path) -> None:
    ids = set()
    for name in ("a", "b"):
        with Store(tmp_path / name) as store:
            ids.add(store.record(PERSON, [weight()]).case_id)
    assert len(ids) == 2
    for each in ids:
        assert len(each) == 9
        assert each[4] == "-"
        assert not set(each) & set("01ilou")


def test_caseload_newest_change_first(tmp_path: Path) -> None:
    times = iter(datetime(2026, 3, day, tzinfo=UTC) for day in range(1, 10))
    with Store(tmp_path, now=lambda: next(times), who="nurse") as store:
        first = store.record(PERSON, [weight()]).case_id
        second = store.record(replace(PERSON, reference="SU-0418"), []).case_id
        store.record(PERSON, [weight("73")])
        one, two = store.list_cases()
    assert (one.id, one.facts, one.series, one.phantom) == (first, 2, 0, False)
    assert (one.opened[:10], one.changed[:10]) == ("2026-03-01", "2026-03-03")
    assert (two.id, two.facts, two.changed[:10]) == (second, 0, "2026-03-02")
    assert "Ada" not in repr(one)


def test_found_by_reference(store: Store) -> None:
    done = store.record(PERSON, [weight()])
    found = store.find_by_reference("SU-0417")
    assert found is not None
    assert found.id == done.case_id
    assert store.find_by_reference("SU-0418") is None


def test_unknown_case(store: Store) -> None:
    with pytest.raises(InputError, match="there is no case 'xxxx-xxxx'"):
        store.get_case("xxxx-xxxx")
    with pytest.raises(InputError, match="there is no case"):
        store.note("printed a plan", case_id="xxxx-xxxx")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (replace(PERSON, born=date(1961, 3, 5)), "another birth date;"),
        (replace(PERSON, sex="male"), "another sex;"),
        (replace(PERSON, name="Eve Example", sex="male"), "another name and another sex;"),
    ],
)
def test_reference_of_somebody_else(store: Store, changed: Person, said: str) -> None:
    store.record(PERSON, [weight()])
    with pytest.raises(InputError) as caught:
        store.record(changed, [weight("80")])
    assert said in str(caught.value)
    assert "Example" not in str(caught.value)
    assert store.list_cases()[0].facts == 1


def test_spelling_of_the_same_name(store: Store) -> None:
    store.record(replace(PERSON, name="Zoë  Example"), [weight()])
    done = store.record(replace(PERSON, name="Zoe\u0308 EXAMPLE"), [weight("80")])
    assert not done.opened


def test_nothing_new_writes_nothing(store: Store, tmp_path: Path) -> None:
    series = new_series(tmp_path / "ct")
    store.record(PERSON, [weight()], [series])
    before = store.trail()
    again = store.record(PERSON, [replace(weight(), origin=Origin("by hand"))], [series])
    assert (again.facts, again.series, again.entry) == ((), (), None)
    assert store.trail() == before


def test_same_fact_twice_in_one_batch_is_one(store: Store) -> None:
    assert len(store.record(PERSON, [weight(), weight()]).facts) == 1


def test_withdrawn_fact_leaves_the_case_but_not_the_record(store: Store) -> None:
    case_id = store.record(PERSON, [weight(), weight("27.0")]).case_id
    wrong = weight("27.0")
    store.withdraw(case_id, wrong.id, "digits swapped")
    assert [str(fact.value) for fact in store.get_case(case_id).facts] == ["72.0"]
    (gone,) = store.withdrawn(case_id)
    assert (gone.fact, gone.reason) == (wrong, "digits swapped")
    assert gone.at == store.trail()[-1].at
    assert store.record(PERSON, [wrong]).facts == ()
    assert verify(store) == []


@pytest.mark.parametrize(
    ("fact_id", "reason", "said"),
    [
        ("0" * 16, "wrong", "the case holds no fact"),
        (weight("27.0").id, "wrong", "the case holds no fact"),
        (weight().id, "  ", "no reason is given"),
    ],
)
def test_what_cannot_be_withdrawn(store: Store, fact_id: str, reason: str, said: str) -> None:
    case_id = store.record(PERSON, [weight(), weight("27.0")]).case_id
    store.withdraw(case_id, weight("27.0").id, "digits swapped")
    trail = store.trail()
    with pytest.raises(InputError, match=said):
        store.withdraw(case_id, fact_id, reason)
    assert store.trail() == trail


def test_series_with_other_files_is_refused(store: Store, tmp_path: Path) -> None:
    store.record(PERSON, [], [new_series(tmp_path / "ct")])
    with pytest.raises(InputError, match=r"other files \(3 then, 4 now\)"):
        store.record(PERSON, [weight()], [new_series(tmp_path / "more", count=4)])
    assert store.list_cases()[0].facts == 0


# ---- when the machine fails ---------------------------------------------------------------------


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
@pytest.mark.parametrize("after", [0, 1, 2])
def test_failing_disk_leaves_nothing_behind(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, after: int
) -> None:
    series = new_series(tmp_path / "ct")
    real, calls = os.fsync, iter(range(100))

    def failing(handle: int) -> None:
        if next(calls) >= after:
            raise OSError(code, os.strerror(code))
        real(handle)

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(InputError, match="nothing was changed") as caught:
        store.record(PERSON, [weight()], [series])
    assert ("the disk is full" in str(caught.value)) is (code != errno.EIO)
    monkeypatch.undo()
    assert store.list_cases() == ()
    assert store.trail() == ()
    assert files_below(store.home / "images") == []
    assert len(store.record(PERSON, [weight()], [series]).series) == 1


def test_file_of_an_earlier_series_survives_a_failure(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = new_series(tmp_path / "ct")
    store.record(PERSON, [], [first])
    second = new_series(tmp_path / "other", uid="1.2.4")
    mixed = NewSeries(
        replace(second.record, files=(*first.record.files, *second.record.files)),
        (*first.sources, *second.sources),
    )
    monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError(errno.ENOSPC, "")))
    with pytest.raises(InputError, match="disk is full"):
        store.record(PERSON, [], [mixed])
    monkeypatch.undo()
    assert verify(store) == []
    assert len(store.image_files(first.record)) == 3


def test_full_database_is_said(store: Store) -> None:
    with store.reading() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    from sqlalchemy import event

    def limited(connection: object, _: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")  # type: ignore[attr-defined]

    event.listen(store._engine, "connect", limited)
    long = [Fact("intent", "x" * 5000, None, DAY, ORIGIN, label=str(n)) for n in range(20)]
    with pytest.raises(InputError, match="nothing was changed: database or disk is full"):
        store.record(PERSON, long)
    event.remove(store._engine, "connect", limited)
    assert store.list_cases() == ()


def test_source_that_changes_meanwhile(store: Store, tmp_path: Path) -> None:
    series = new_series(tmp_path / "ct")
    series.sources[1].write_bytes(b"another plane")
    with pytest.raises(InputError, match=r"1\.dcm: changed while it was read"):
        store.record(PERSON, [weight()], [series])
    assert files_below(store.home / "images") == []


def test_source_that_is_gone(store: Store, tmp_path: Path) -> None:
    series = new_series(tmp_path / "ct")
    series.sources[2].unlink()
    with pytest.raises(InputError, match=r"2\.dcm: cannot be read"):
        store.record(PERSON, [weight()], [series])
    assert store.list_cases() == ()


def test_leftovers_of_a_killed_copy_are_cleared(store: Store, tmp_path: Path) -> None:
    incoming = store.home / "images" / "incoming"
    incoming.mkdir(parents=True)
    (incoming / "half").write_bytes(b"half a plane")
    assert "belong to no series" in verify(store)[0]
    store.record(PERSON, [], [new_series(tmp_path / "ct")])
    assert verify(store) == []


# ---- opening ------------------------------------------------------------------------------------


def test_home_is_closed_to_others(tmp_path: Path) -> None:
    (tmp_path / "open").mkdir(mode=0o755)
    for home in (tmp_path / "open", tmp_path / "made"):
        with Store(home) as store:
            store.record(PERSON, [], [new_series(tmp_path / "ct")])
        for part in ("thalweg.sqlite", "images"):
            assert (home / part).stat().st_mode & 0o077 == 0
    assert (tmp_path / "made").stat().st_mode & 0o077 == 0


def test_home_from_the_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("THALWEG_HOME", str(tmp_path))
    assert default_home() == tmp_path
    monkeypatch.delenv("THALWEG_HOME")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    assert default_home().name == "thalweg"


def test_home_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("")
    with pytest.raises(InputError, match="the store cannot be used"):
        Store(tmp_path / "home")


def test_database_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "thalweg.sqlite").write_bytes(b"not a database, but long enough" * 100)
    with pytest.raises(InputError, match="database is not one"):
        Store(tmp_path)


@pytest.mark.parametrize(
    "url", ["postgres", "postgresql+nodriver://u:secret@db/x", "oracle://u:secret@db"]
)
def test_unusable_database_url(tmp_path: Path, url: str) -> None:
    with pytest.raises(InputError, match="the database's URL") as caught:
        Store(tmp_path, url=url)
    assert "secret" not in str(caught.value)


def test_commits_are_synced_and_keys_enforced(store: Store) -> None:
    # Values as SQLite numbers them: sqlite.org/pragma.html (2 is FULL).
    with store.reading() as connection:
        pragmas = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("synchronous", "foreign_keys", "journal_mode")
        ]
    assert pragmas == [2, 1, "wal"]
