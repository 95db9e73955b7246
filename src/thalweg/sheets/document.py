"""What a printed document is made of, before it becomes HTML or PDF.

One content, two forms: `thalweg.sheets.html` and `thalweg.sheets.pdf` draw the same blocks, so
that paper and screen never say different things.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = [
    "Beside",
    "Block",
    "Cautions",
    "Cell",
    "Document",
    "Heading",
    "Items",
    "Labels",
    "Lines",
    "Picture",
    "Section",
    "Table",
    "Text",
    "Tone",
]


class Tone(Enum):
    """What a cell says at a glance; each has a sign, so that colour is never the only one."""

    PLAIN = ""
    GOOD = "✓"
    CARE = "!"
    BAD = "✗"
    UNKNOWN = "?"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table: its words and its tone."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `lead` sets it larger, for the one sentence that must be read."""

    text: str
    lead: bool = False


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cautions:
    """Sentences set apart with a sign, because not reading them can hurt."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Parameters
    ----------
    head : tuple of str
        Column titles.
    rows : tuple of tuple of Cell or str
        Each as long as `head`.
    shares : tuple of float
        Relative widths of the columns; equal where empty.
    caption : str
        What the table holds, for people and for screen readers.
    roomy : bool
        Rows high enough to write in by hand.
    row_heads : bool
        The first cell of each row names the row.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[Cell | str, ...], ...]
    shares: tuple[float, ...] = ()
    caption: str = ""
    roomy: bool = False
    row_heads: bool = False

    def __post_init__(self) -> None:
        if any(len(row) != len(self.head) for row in self.rows):
            msg = f"the table {self.caption!r} has a row of another length than its head"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with words for those who cannot see it.

    Parameters
    ----------
    data : bytes
        SVG or PNG.
    kind : str
        ``"svg"`` or ``"png"``.
    caption : str
        Printed below it.
    alternative : str
        What it shows, in words.
    share : float
        Part of the page's width, 0 to 1.
    """

    data: bytes
    kind: str
    caption: str
    alternative: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Heading:
    """A title within a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines to write on by hand, below what they are for."""

    prompt: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class Beside:
    """A small picture with what is said of it next to it; `picture.share` is its width."""

    picture: Picture
    blocks: tuple[Text | Items | Cautions | Table | Heading, ...]


Block = Text | Items | Cautions | Table | Picture | Beside | Heading | Lines


@dataclass(frozen=True, slots=True)
class Labels:
    """The few words of the form itself; `page` has {page} and {pages} in it."""

    contents: str = "Contents"
    page: str = "Page {page} of {pages}"
    cautions: str = "Cautions"


@dataclass(frozen=True, slots=True)
class Section:
    """A titled run of blocks; `key` names it in links.

    `small` sets its tables small on paper whatever the size of the running text: for lists that
    are looked up, not read.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A whole document.

    Parameters
    ----------
    title, subtitle : str
        On the first page.
    running : str
        On every page: case, person, date.
    warning : str
        On every page: that it supports and does not replace judgement.
    made_on : str
        ISO 8601 date it speaks of.
    sections : tuple of Section
    language : str
        BCP 47 tag.
    direction : str
        ``"ltr"`` or ``"rtl"``.
    text_pt : float
        Size of the running text on paper, points.
    labels : Labels
    last : str
        The last line of the last page; may be empty.
    """

    title: str
    subtitle: str
    running: str
    warning: str
    made_on: str
    sections: tuple[Section, ...]
    language: str = "en"
    direction: str = "ltr"
    text_pt: float = 9.0
    labels: Labels = Labels()
    last: str = ""
