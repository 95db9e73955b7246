"""Write into docs/verification.md what the data say was not read, so that page and data agree.

Run as ``python tools/write_verification.py``. What stands between a pair of marks is rewritten from
the packaged data; all else on the page is written by people.
"""

from __future__ import annotations

import re
import sys
import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from thalweg.evidence.bibliography import bibliography
from thalweg.record.concept import concepts

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "verification.md"
SOURCE = ROOT / "src" / "thalweg"
EXPLAINS = ("evidence/bibliography.py", "record/data/concepts.toml")
FRAME = " #\"'(),"
MARK = re.compile(r"(<!-- written: (\S+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


@cache
def _texts() -> dict[str, str]:
    """Return every file of the package that can cite a source, by its name within it."""
    found = {}
    for path in sorted((*SOURCE.rglob("*.toml"), *SOURCE.rglob("*.py"))):
        if "bibliography" not in path.parts:
            found[path.relative_to(SOURCE).as_posix()] = path.read_text(encoding="utf-8")
    return found


def cited_in(key: str) -> list[str]:
    """Return the files of the package that cite a key of the bibliography."""
    return [name for name, text in _texts().items() if f'"{key}"' in text]


def sources(read: str) -> str:
    """Return a table of the entries that were read in one way."""
    rows = ["| source | what rests on it | what was read |", "| --- | --- | --- |"]
    for key, one in sorted(bibliography().items()):
        if one.read == read:
            places = ", ".join(f"`{name}`" for name in cited_in(key)) or "nothing names it"
            note = one.note or "No note."
            rows.append(f"| `{key}`: {_cell(str(one))} | {places} | {_cell(note)} |")
    return "\n".join(rows)


def codes() -> str:
    """Return a table of the laboratory codes whose name was not seen twice."""
    rows = ["| LOINC | what it records | seen in |", "| --- | --- | --- |"]
    for one in concepts().values():
        for code in one.codes:
            if code.checked != "two":
                seen = {"one": "one public file", "memory": "none"}[code.checked]
                rows.append(f"| `{code.code}` | {_cell(one.name)} | {seen} |")
    return "\n".join(rows)


def thresholds() -> str:
    """Return a table of the rows of data that say themselves that they are from memory."""
    rows = ["| row | says |", "| --- | --- |"]
    for name, text in _texts().items():
        if name.endswith(".toml") and name != "record/data/concepts.toml":
            for place, said in _remembered(tomllib.loads(text), ()):
                rows.append(f"| `{name}`: `{'.'.join(place)}` | {_cell(said)} |")
    return "\n".join(rows)


def _remembered(part: object, at: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield where, and in which words, a part of the data says that it is from memory."""
    if isinstance(part, dict):
        named = (*at, str(part["key"])) if "key" in part else at
        for key, value in part.items():
            if (key, value) == ("checked", "memory"):
                yield named, "from memory"
            else:
                yield from _remembered(value, (*named, key))
    elif isinstance(part, list):
        for value in part:
            yield from _remembered(value, at)
    elif isinstance(part, str) and "from memory" in part.lower():
        yield at, part


def lines() -> str:
    """Return a table of the lines of code and of remarks in data that say so.

    Without the artificial abdomen, which no answer about a person comes from, and without the two
    files that say what the words mean.
    """
    rows = ["| line of | says |", "| --- | --- |"]
    for name, text in _texts().items():
        if name.startswith("phantom/") or name in EXPLAINS:
            continue
        for line in text.splitlines():
            said = line.partition("#")[2] if name.endswith(".toml") else line
            if "from memory" in said:
                rows.append(f"| `{name}` | {_cell(said.strip(FRAME))} |")
    return "\n".join(rows)


WRITERS = {
    "memory": lambda: sources("memory"),
    "secondary": lambda: sources("secondary"),
    "codes": codes,
    "thresholds": thresholds,
    "lines": lines,
}


def written(page: str) -> str:
    """Return the page with every marked part written anew."""
    return MARK.sub(lambda found: f"{found[1]}{WRITERS[found[2]]()}\n{found[4]}", page)


def main() -> int:
    """Rewrite the page."""
    PAGE.write_text(written(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    sys.stdout.write(f"{PAGE.relative_to(ROOT)} is as the data say\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
