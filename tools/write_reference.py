"""Write the reference pages of the documentation from the code itself, so that they stay true."""

from __future__ import annotations

import importlib
import pkgutil
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import typer

import thalweg
from thalweg.assess.fitness.rulebook import rulebook
from thalweg.cli.main import app
from thalweg.evidence.bibliography import bibliography, cite
from thalweg.record.concept import concepts
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Iterator


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def commands() -> str:
    """Return the page of commands, each with its options."""
    root = typer.main.get_command(app)
    lines = ["# Commands", "", "`thalweg COMMAND --help` says the same at the keyboard.", ""]
    for name, command in sorted(root.commands.items()):  # type: ignore[attr-defined]
        lines += [f"## thalweg {name}", "", (command.help or "").strip(), ""]
        lines += ["| argument or option | what it is |", "| --- | --- |"]
        for parameter in command.params:
            shown = ", ".join(parameter.opts) if parameter.opts else parameter.name
            if parameter.param_type_name == "argument":
                shown = parameter.metavar or parameter.name.upper()
            lines.append(f"| `{shown}` | {_cell(parameter.help or '')} |")
        lines.append("")
    return "\n".join(lines)


def recorded() -> str:
    """Return the page of everything that can be recorded."""
    lines = ["# What can be recorded", ""]
    lines += [
        "Outside *possible* a value is refused, outside *expected* it is questioned. Both are",
        "wide: common practice of laboratories, set by the founders.",
        "",
        "| key | what | units | possible | expected | LOINC |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in concepts().values():
        spans = [
            f"{s[0]:g} to {s[1]:g} {row.unit}" if s else "" for s in (row.possible, row.expected)
        ]
        what = row.name + (f": {', '.join(row.choices)}" if row.choices else "")
        codes = ", ".join(code.code for code in row.codes)
        units = ", ".join(f"`{unit}`" for unit in row.units) or row.kind
        lines.append(
            f"| `{row.key}` | {_cell(what)} | {units} | {spans[0]} | {spans[1]} | {codes} |"
        )
    return "\n".join([*lines, ""])


def sources() -> str:
    """Return the bibliography as a page."""
    lines = ["# Bibliography", ""]
    lines += [
        "How the figures taken from an entry were checked: *text*, the passage was read;",
        "*abstract*; *secondary*, seen quoted elsewhere; *memory*, not read again: verify before",
        "relying on it.",
        "",
        "| key | reference | how its figures were checked |",
        "| --- | --- | --- |",
    ]
    for key, entry in sorted(bibliography().items()):
        note = f" {entry.note}" if entry.note else ""
        doi = f" doi:{entry.doi}" if entry.doi else ""
        checked = _cell(f"{entry.read}.{note}")
        lines.append(f"| `{key}` | {_cell(str(entry) + doi)} | {checked} |")
    return "\n".join([*lines, ""])


def every_method() -> Iterator[Method]:
    """Yield each method of the package once, by key."""
    seen: dict[str, Method] = {}
    for info in pkgutil.walk_packages(thalweg.__path__, "thalweg."):
        if ".migrations" in info.name:
            continue
        for value in vars(importlib.import_module(info.name)).values():
            for one in value.values() if isinstance(value, dict) else (value,):
                if isinstance(one, Method):
                    seen.setdefault(one.key, one)
    # Scores and contrast rules are data, and so are their methods.
    for rule in rulebook().rules:
        seen.setdefault(rule.method.key, rule.method)
    yield from (seen[key] for key in sorted(seen))


def methods() -> str:
    """Return the page of methods: formula, whom it is for, source, cautions."""
    lines = ["# Methods and sources", ""]
    for method in every_method():
        title = method.title[0].upper() + method.title[1:]
        formula = textwrap.wrap(method.formula, 84, break_on_hyphens=False)
        lines += [f"## {title}", "", f"`{method.key}`", "", *(f"    {one}" for one in formula), ""]
        lines += [f"For {method.valid_for}.", ""]
        lines += [f"* Source: {cite(key)}" for key in method.sources]
        lines += [f"* Caution: {caution}" for caution in method.cautions]
        lines.append("")
    return "\n".join(lines)


PAGES = {
    "commands.md": commands,
    "concepts.md": recorded,
    "bibliography.md": sources,
    "methods.md": methods,
}


def main(folder: Path) -> None:
    """Write every page into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, page in PAGES.items():
        folder.joinpath(name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
