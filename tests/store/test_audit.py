"""The audit trail: tampering is found, by whatever way it was done.

The chain is recomputed here from its description with `hashlib` alone.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from thalweg.record.case import ImageRecord, Person
from thalweg.record.fact import Fact, Origin
from thalweg.store import NewSeries, Store, digest_files, verify

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PERSON = Person("SU-0417", "Ada Example", date(1961, 3, 4), "female")
OTHER = Person("SU-0418", "Bob Example", date(1951, 3, 4), "male")
DAY = date(2026, 3, 2)


def of_weight(value: str) -> Fact:
    return Fact("weight", Decimal(value), "kg", DAY, Origin("table", "labs.csv row 2"))


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filled")
    plane = folder / "plane.dcm"
    plane.write_bytes(b"a plane" * 100)
    record = ImageRecord("1.2.3", "CT", "2026-03-02", digest_files([plane]), "ct", True)
    with Store(folder / "home", who="nurse") as store:
        store.record(PERSON, [of_weight("72.0")], [NewSeries(record, (plane,))])
        store.record(PERSON, [of_weight("73.5"), of_weight("74.5")])
        store.record(OTHER, [of_weight("91")])
        wrong = store.list_cases()[-1].id, of_weight("74.5").id
        store.withdraw(*wrong, "typed twice")
        store.note("printed a plan", case_id=store.list_cases()[0].id, document="plan")
    return folder / "home"


@pytest.fixture
def filled(filled_once: Path, tmp_path: Path) -> Iterator[Store]:
    shutil.copytree(filled_once, tmp_path / "home")
    with Store(tmp_path / "home", who="nurse") as store:
        yield store


def tamper(store: Store, *statements: str) -> None:
    """Change the database behind its own triggers, as somebody with the file could."""
    connection = sqlite3.connect(store.home / "thalweg.sqlite")
    triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    for (name,) in triggers.fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        assert connection.execute(statement).rowcount > 0
    connection.commit()
    connection.close()


def test_sound_store_has_no_problems(filled: Store) -> None:
    assert verify(filled, head=filled.head()) == []


def test_chain_is_sha256_over_the_entries_as_described(filled: Store) -> None:
    previous = "0" * 64
    for number, entry in enumerate(filled.trail(), start=1):
        text = json.dumps(
            {
                "seq": str(number),
                "at": entry.at,
                "who": "nurse",
                "action": entry.action,
                "detail": entry.detail,
                "previous": previous,
            },
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=False,
        )
        previous = hashlib.sha256(text.encode()).hexdigest()
        assert entry.hash == previous
    assert filled.head() == previous


def test_trail_names_ids_and_no_values(filled: Store) -> None:
    cases = [filled.get_case(each.id) for each in filled.list_cases()]
    gone = {each.fact.id for case in cases for each in filled.withdrawn(case.id)}
    ids = {case.id for case in cases} | {fact.id for case in cases for fact in case.facts} | gone
    for entry in filled.trail():
        told = dict(entry.detail)
        assert set(told) <= {"case", "facts", "series", "rows", "document", "withdrawn"}
        assert {told["case"], *(told.get("facts") or ()), *(told.get("withdrawn") or ())} <= ids
        assert told.get("series") in (None, [], ["1.2.3"])
        assert told.get("document") in (None, "plan")
        assert len(told.get("rows") or "0" * 64) == 64
    assert [entry.action for entry in filled.trail()] == [
        "opened a case",
        "recorded",
        "opened a case",
        "withdrew a fact",
        "printed a plan",
    ]
    assert all(entry.at.endswith("+00:00") for entry in filled.trail())


@pytest.mark.parametrize("table", ["facts", "withdrawals", "audit", "images", "image_files"])
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid"])
def test_database_itself_refuses_changes(filled: Store, table: str, verb: str) -> None:
    connection = sqlite3.connect(filled.home / "thalweg.sqlite")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(verb.format(table))
    connection.close()


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("""UPDATE facts SET value = '"27.0"' WHERE seq = 1""", "entry 1 recorded can no longer"),
        ("UPDATE facts SET value = 'x' WHERE seq = 1", "entry 1 recorded can no longer be read"),
        ("UPDATE facts SET origin_place = 'x' WHERE seq = 2", "entry 2 recorded has been altered"),
        ("UPDATE facts SET questions = '[\"x\"]' WHERE seq = 1", "entry 1 recorded has been"),
        ("UPDATE facts SET entry = 2 WHERE seq = 1", "entry 1 recorded has been altered"),
        ("UPDATE facts SET entry = 5 WHERE seq = 1", "1 row(s) of facts were recorded by no"),
        ("DELETE FROM facts WHERE seq = 3", "entry 2 recorded has been altered"),
        (
            "UPDATE facts SET case_id = (SELECT case_id FROM facts WHERE seq = 4) WHERE seq = 1",
            "entry 1 recorded has been altered",
        ),
        ("UPDATE people SET born = '1971-03-04' WHERE id = 1", "entry 1 recorded has been altered"),
        ("UPDATE people SET name = 'Eve' WHERE id = 2", "entry 3 recorded has been altered"),
        ("UPDATE withdrawals SET reason = 'x'", "entry 4 recorded has been altered"),
        ("DELETE FROM withdrawals", "entry 4 recorded has been altered"),
        ("UPDATE images SET cautions = '[\"x\"]'", "entry 1 recorded has been altered"),
        ("DELETE FROM image_files", "entry 1 recorded has been altered"),
        ("UPDATE audit SET who = 'somebody' WHERE seq = 2", "Audit entry 2 has been altered"),
        ("UPDATE audit SET at = '2020-01-01' WHERE seq = 4", "Audit entry 4 has been altered"),
        ("UPDATE audit SET previous = hash WHERE seq = 3", "Audit entry 3 does not follow"),
        ("DELETE FROM audit WHERE seq = 1", "Audit entry 1 is missing"),
        ("DELETE FROM audit WHERE seq = 3", "Audit entry 3 is missing"),
        ("UPDATE facts SET entry = 99 WHERE seq = 1", "refers to a row of audit gone"),
    ],
)
def test_tampering_is_found(filled: Store, statement: str, said: str) -> None:
    tamper(filled, statement)
    assert any(said in problem for problem in verify(filled))


def test_entry_cut_off_the_end_is_found_by_a_hash_kept_elsewhere(filled: Store) -> None:
    head = filled.head()
    tamper(filled, "DELETE FROM audit WHERE seq = 5")
    assert verify(filled) == []
    assert verify(filled, head=head) == [
        "The audit trail no longer holds the entry whose hash was kept."
    ]


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.unlink(), "is gone"),
        (lambda path: path.write_bytes(b"b plane"), "has been altered"),
        (lambda path: path.with_name("stray").write_bytes(b"x"), "belong to no series"),
    ],
)
def test_spoiled_image_files_are_found(filled: Store, spoil: object, said: str) -> None:
    (kept,) = [path for path in (filled.home / "images").rglob("*") if path.is_file()]
    spoil(kept)  # type: ignore[operator]
    (problem,) = verify(filled)
    assert said in problem


def test_damaged_database_is_found(filled: Store) -> None:
    path = filled.home / "thalweg.sqlite"
    content = bytearray(path.read_bytes())
    # Damage an index page: row and index no longer agree, which only the database can tell.
    place = content.rfind(b"SU-0418")
    content[place : place + 7] = b"SU-9999"
    path.write_bytes(content)
    assert verify(filled)
