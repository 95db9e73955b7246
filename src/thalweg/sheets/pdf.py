"""A document as PDF, set by a typesetter that needs no system library and no network."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
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
    from thalweg.sheets.document import Block, Document

__all__ = ["to_pdf"]


def _block(block: Block, folder: Path, number: str) -> dict[str, Any]:
    if isinstance(block, Text | Items | Cautions | Heading | Lines):
        return {"kind": type(block).__name__.lower(), **asdict(block)}
    if isinstance(block, Table):
        return {
            "kind": "table",
            "head": list(block.head),
            "caption": block.caption,
            "roomy": block.roomy,
            "row_heads": block.row_heads,
            "shares": list(block.shares or (1.0,) * len(block.head)),
            "rows": [[_cell(cell) for cell in row] for row in block.rows],
        }
    if isinstance(block, Beside):
        return {
            "kind": "beside",
            "picture": _picture(block.picture, folder, number),
            "blocks": [_block(one, folder, f"{number}-{i}") for i, one in enumerate(block.blocks)],
        }
    return _picture(block, folder, number)


def _cell(cell: Cell | str) -> dict[str, str]:
    if isinstance(cell, str):
        return {"text": cell, "tone": "", "sign": ""}
    tone = cell.tone.name if cell.tone.value else ""
    return {"text": cell.text, "tone": tone, "sign": cell.tone.value}


def _picture(picture: Picture, folder: Path, number: str) -> dict[str, Any]:
    name = f"picture-{number}.{picture.kind}"
    folder.joinpath(name).write_bytes(picture.data)
    return {
        "kind": "picture",
        "file": name,
        "share": picture.share,
        "caption": picture.caption,
        "alternative": picture.alternative,
    }


def _font_folder() -> Path:
    # The drawing library carries the DejaVu fonts: the same on every machine, so that the same
    # document is the same file everywhere, with every sign we print.
    import matplotlib as mpl  # noqa: PLC0415 - only when a PDF is made

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def to_pdf(document: Document) -> bytes:
    """Return the document as a tagged PDF; the same document gives the same bytes."""
    import typst  # noqa: PLC0415 - only when a PDF is made

    with tempfile.TemporaryDirectory(prefix="thalweg-") as name:
        folder = Path(name)
        sections = [
            {
                "title": section.title,
                "new_page": section.new_page,
                "small": section.small,
                "blocks": [
                    _block(block, folder, f"{i}-{j}") for j, block in enumerate(section.blocks)
                ],
            }
            for i, section in enumerate(document.sections)
        ]
        content = {
            "title": document.title,
            "subtitle": document.subtitle,
            "running": document.running,
            "warning": document.warning,
            "made_on": document.made_on,
            "language": document.language.split("-")[0],
            "direction": document.direction,
            "text_pt": document.text_pt,
            "page": document.labels.page,
            "last": document.last,
            "sections": sections,
        }
        folder.joinpath("document.json").write_text(json.dumps(content), encoding="utf-8")
        template = files("thalweg.sheets").joinpath("templates/document.typ").read_bytes()
        main = folder / "document.typ"
        main.write_bytes(template)
        made = typst.compile(
            str(main),
            root=str(folder),
            font_paths=[str(_font_folder())],
            ignore_system_fonts=True,
            # Accessible PDF (ISO 14289): tags, title and the words of pictures are made sure of.
            pdf_standards=["ua-1"],
        )
    if not isinstance(made, bytes):
        msg = "the typesetter returned no single PDF"
        raise TypeError(msg)
    return made
