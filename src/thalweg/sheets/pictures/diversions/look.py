"""Colours and textures of the diagrams, and how far apart two colours are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["DARK", "LIGHT", "THEMES", "Theme", "contrast", "hatching", "textures"]


@dataclass(frozen=True, slots=True)
class Theme:
    """One set of colours, all ``#rrggbb``.

    Parameters
    ----------
    paper, ink, soft : str
        Background; text and leader lines; what stands back.
    skin, skin_line : str
        Body inside its outline, and the outline.
    faint : str
        Vessels, ribs: to find one's way only.
    kidney, kidney_line, urine, urine_line, bowel, bowel_line : str
    rest : str
        Outline of bowel and organs that no longer carry urine, or are gone.
    stoma, stoma_line, bag, bag_line, tube, tube_core : str
    icon, icon_empty : str
        Of arrays of people: counted, and not counted.
    """

    paper: str
    ink: str
    soft: str
    skin: str
    skin_line: str
    faint: str
    kidney: str
    kidney_line: str
    urine: str
    urine_line: str
    bowel: str
    bowel_line: str
    rest: str
    stoma: str
    stoma_line: str
    bag: str
    bag_line: str
    tube: str
    tube_core: str
    icon: str
    icon_empty: str


LIGHT = Theme(
    paper="#ffffff",
    ink="#16212b",
    soft="#4d5c69",
    skin="#f7efe7",
    skin_line="#7b6a5c",
    faint="#e8d8ca",
    kidney="#b5644d",
    kidney_line="#5e2417",
    urine="#ffd34d",
    urine_line="#7a5200",
    bowel="#f6c9c3",
    bowel_line="#8a2f2f",
    rest="#776658",
    stoma="#d1344b",
    stoma_line="#6b0f1e",
    bag="#dcebf0",
    bag_line="#2d5866",
    tube="#0b4f8a",
    tube_core="#ffffff",
    icon="#0b5a6b",
    icon_empty="#6f7b84",
)
DARK = Theme(
    paper="#12181d",
    ink="#e6e9ea",
    soft="#a9b4bc",
    skin="#26303a",
    skin_line="#9fb0bd",
    faint="#3b4752",
    kidney="#c97a62",
    kidney_line="#ffd8cb",
    urine="#ffd34d",
    urine_line="#8a5d00",
    bowel="#8c4444",
    bowel_line="#ffc4be",
    rest="#b3a498",
    stoma="#ff7d8e",
    stoma_line="#ffe3e6",
    bag="#33505b",
    bag_line="#a5d3e0",
    tube="#8cc6ff",
    tube_core="#12181d",
    icon="#7fd0de",
    icon_empty="#86929b",
)
THEMES: Mapping[str, Theme] = {"light": LIGHT, "dark": DARK}


def _luminance(colour: str) -> float:
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two ``#rrggbb`` colours, 1 to 21.

    References
    ----------
    WCAG 2.2, definitions of relative luminance and contrast ratio (threshold 0.04045 as in
    IEC 61966-2-1).
    """
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def textures(theme: Theme) -> Element:
    """Return the textures that tell parts apart where there is no colour.

    Bowel in use is striped, a bag dotted.
    """
    made = Element("defs")
    _lines(made, "bowel", theme.bowel, theme.bowel_line, pitch=5.0, width=1.0, angle=45)
    dots = _pattern(made, "bag", 6.0, theme.bag)
    SubElement(dots, "circle", cx="3", cy="3", r="0.8", fill=theme.bag_line)
    return made


def hatching(theme: Theme) -> Element:
    """Return the textures of doubtful figures: crossed up to the estimate, hatched beyond it."""
    made = Element("defs")
    _lines(made, "hatched", theme.paper, theme.icon, pitch=3.2, width=0.8, angle=45)
    crossed = _pattern(made, "crossed", 3.2, theme.paper, 45)
    for wide, high in (("1.3", "3.2"), ("3.2", "1.3")):
        SubElement(crossed, "rect", width=wide, height=high, fill=theme.icon)
    return made


def _pattern(into: Element, name: str, pitch: float, ground: str, angle: float = 0.0) -> Element:
    made = SubElement(
        into,
        "pattern",
        id=name,
        width=f"{pitch:g}",
        height=f"{pitch:g}",
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({angle:g})",
    )
    SubElement(made, "rect", width=f"{pitch:g}", height=f"{pitch:g}", fill=ground)
    return made


def _lines(
    into: Element,
    name: str,
    ground: str,
    line: str,
    *,
    pitch: float,
    width: float,
    angle: float,
) -> None:
    made = _pattern(into, name, pitch, ground, angle)
    SubElement(made, "rect", width=f"{width:g}", height=f"{pitch:g}", fill=line)
