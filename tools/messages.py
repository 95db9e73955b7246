"""Write the template for translators, or a new or updated translation, of the sheets' texts.

    python tools/messages.py messages.pot
    python tools/messages.py messages-fi.po

A translation that is there already keeps what still fits; what no longer fits stays as fuzzy.
"""

from __future__ import annotations

import sys
from pathlib import Path

from babel.messages import Catalog
from babel.messages.pofile import read_po, write_po

from thalweg.sheets.messages.catalogue import english


def template() -> Catalog:
    """Return every English text, with its key as context."""
    page = Catalog(project="Thalweg", fuzzy=False, charset="utf-8")
    for key, text in english().items():
        notes = ["For professionals: what a publication counted."] if "definition." in key else []
        page.add(
            (text.one, text.other) if text.other else text.one,
            context=key,
            auto_comments=notes,
            flags=["python-brace-format"] if "{" in text.one + text.other else [],
        )
    return page


def main(path: Path) -> int:
    """Write the file; return 0."""
    page = template()
    if path.suffix == ".po":
        locale = path.stem.removeprefix("messages-").replace("-", "_")
        made = Catalog(locale=locale, project="Thalweg", charset="utf-8", fuzzy=False)
        if path.exists():
            with path.open("rb") as there:
                made = read_po(there, locale=locale)
        made.update(page, no_fuzzy_matching=True)
        page = made
    with path.open("wb") as out:
        write_po(out, page, width=100, omit_header=False)
    sys.stdout.write(f"{path}: {len(page)} texts\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1])))
