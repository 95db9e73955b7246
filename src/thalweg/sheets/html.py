"""A document as one self-contained HTML page that asks nothing of any network."""

from __future__ import annotations

import base64
from functools import cache
from typing import TYPE_CHECKING, Any

from thalweg.sheets.document import (
    Beside,
    Cautions,
    Cell,
    Heading,
    Items,
    Lines,
    Picture,
    Table,
    Text,
)

if TYPE_CHECKING:
    from jinja2 import Template

    from thalweg.sheets.document import Block, Document

__all__ = ["to_html"]

_MEDIA = {"svg": "image/svg+xml", "png": "image/png"}
_KINDS = {
    Text: "text",
    Items: "items",
    Cautions: "cautions",
    Table: "table",
    Picture: "picture",
    Beside: "beside",
    Heading: "heading",
    Lines: "lines",
}


@cache
def _template() -> Template:
    # Imported here: `--help` needs no template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415

    environment = Environment(
        loader=PackageLoader("thalweg.sheets", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["kind"] = _kind
    environment.filters["cell"] = _cell
    environment.filters["embedded"] = _embedded
    return environment.get_template("document.html")


def _kind(block: Block) -> str:
    return _KINDS[type(block)]


def _cell(cell: Cell | str) -> Cell:
    return cell if isinstance(cell, Cell) else Cell(cell)


def _embedded(picture: Picture) -> str:
    return f"data:{_MEDIA[picture.kind]};base64,{base64.b64encode(picture.data).decode()}"


def to_html(document: Document, **extra: Any) -> bytes:
    """Return the document as UTF-8 HTML.

    Parameters
    ----------
    document : Document
    **extra
        Further names for the template, for pages that show a document within themselves.
    """
    return _template().render(document=document, **extra).encode()
