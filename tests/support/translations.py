"""A made-up translation of the sheets, written as a translator's program would."""

from __future__ import annotations

from io import BytesIO

from babel.messages import Catalog
from babel.messages.pofile import write_po

from thalweg.sheets.messages.catalogue import english


def translated(language: str, mark: str, *, leave: tuple[str, ...] = (), fuzzy: str = "") -> bytes:
    """Return a PO file whose texts are the English ones between marks, some left out."""
    page = Catalog(locale=language, charset="utf-8", fuzzy=False)
    for key, text in english().items():
        if key in leave:
            continue
        flags = ["fuzzy"] if key == fuzzy else []
        if text.other:
            forms = (text.one, *[text.other] * (page.num_plurals - 1))
            said = tuple(f"{mark}{number}{one}{mark}" for number, one in enumerate(forms))
            page.add((text.one, text.other), said, context=key, flags=flags)
        else:
            page.add(text.one, f"{mark}{text.one}{mark}", context=key, flags=flags)
    out = BytesIO()
    write_po(out, page, width=0)
    return out.getvalue()
