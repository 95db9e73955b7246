"""`thalweg plan --language`: the sheets for the person, through the real command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.support.commands import thalweg
from tests.support.once import built_once
from tests.support.printed import page_of, words
from tests.support.smallcase import DAY, SECRETS, write_small_case
from tests.support.translations import translated

if TYPE_CHECKING:
    from pathlib import Path

Named = tuple[str, ...]


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Named:
    """Take in a case without images once, and return how to name it."""

    def build(folder: Path) -> None:
        where = ("--home", str(folder / "home"), "--on", DAY.isoformat())
        source = write_small_case(folder / "in", images=False)
        case = thalweg("intake", source, *where, "--json").json["case"]
        folder.joinpath("case").write_text(case, encoding="utf-8")

    folder = built_once(tmp_path_factory, "plan-language", build)
    case = folder.joinpath("case").read_text(encoding="utf-8")
    return (case, "--home", str(folder / "home"), "--on", DAY.isoformat())


def test_the_plan_brings_a_sheet_and_a_leaflet_for_each_option(
    named: Named, tmp_path: Path
) -> None:
    done = thalweg("plan", *named, "--out", tmp_path, "--json").json
    open_ = {row["key"] for row in done["appraisal"]["diversions"] if row["verdict"] != "closed"}
    names = {path.name for path in tmp_path.iterdir()}
    for kind in ("html", "pdf"):
        assert f"consent-{named[0]}.{kind}" in names
        leaflets = {one for one in names if one.startswith("leaflet-") and one.endswith(kind)}
        assert leaflets == {f"leaflet-{key}.{kind}" for key in open_}
    assert {str(tmp_path / name) for name in names} == set(done["files"])
    for key in open_:
        said = tmp_path.joinpath(f"leaflet-{key}.html").read_text(encoding="utf-8")
        assert not [one for one in (*SECRETS[:3], named[0]) if one in said]
    sheet = words(page_of(tmp_path / f"consent-{named[0]}.html").text)
    assert "Ben Sample, born 2 January 1950" in sheet


def test_a_unit_s_translation_speaks_on_the_sheet(named: Named, tmp_path: Path) -> None:
    own = tmp_path / "protocol"
    own.mkdir()
    own.joinpath("messages-fi.po").write_bytes(translated("fi", "_"))
    thalweg("plan", *named, "--out", tmp_path, "--protocol", own, "--language", "fi", "--json")
    page = page_of(tmp_path / f"consent-{named[0]}.html")
    assert page.all("html")[0]["lang"] == "fi"
    assert "_Before you start_" in page.text
    assert page_of(tmp_path / f"plan-{named[0]}.html").all("html")[0]["lang"] == "en"


def test_a_language_that_there_is_not_is_refused_and_nothing_written(
    named: Named, tmp_path: Path
) -> None:
    line = thalweg("plan", *named, "--out", tmp_path, "--language", "tlh").refusal(*SECRETS)
    assert "not translated into 'tlh'; choose en, en-XA, ar-XB" in line
    assert list(tmp_path.iterdir()) == []


def test_a_broken_translation_is_refused(named: Named, tmp_path: Path) -> None:
    own = tmp_path / "protocol"
    own.mkdir()
    own.joinpath("messages-fi.po").write_bytes(b'mzgid "a"\n')
    out = tmp_path / "out"
    line = thalweg("plan", *named, "--out", out, "--protocol", own, "--language", "fi").refusal(
        *SECRETS
    )
    assert "messages-fi.po: cannot be read as a PO file" in line
    assert not out.exists()


def test_help_names_the_option() -> None:
    assert "--language" in thalweg("plan", "--help").out
