"""The picture of the map of margins: legible, said in words, the same every time."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from tests.plan.reach.test_front_map import flat, front_of

from thalweg.plan.reach.front import SiteMask
from thalweg.sheets.pictures.margin_map import (
    Landmarks,
    margin_figure,
    margin_file,
    margin_picture,
)

if TYPE_CHECKING:
    from thalweg.plan.reach.front import FrontMap

MARKS = Landmarks((("left lower", 60.0, -30.0),), (0.0, 0.0))
LEAST_POINTS = 6.5


def front() -> FrontMap:
    made = front_of(flat(free=150.0), step=20.0)
    unknown = np.zeros(made.row.shape, dtype=bool)
    unknown[:2, :4] = True
    return replace(made, unknown=unknown, row=np.where(unknown, -1, made.row))


def words(masks: tuple[SiteMask, ...] = ()) -> list[Text]:
    sheet = Figure(figsize=(7, 4), layout="constrained")
    margin_figure(sheet, front(), MARKS, masks)
    legends = [text for legend in sheet.legends for text in legend.get_texts()]
    return [*sheet.findobj(Text), *legends]


def test_every_word_is_large_enough_in_print() -> None:
    texts = [text for text in words() if text.get_text()]
    assert min(float(text.get_fontsize()) for text in texts) >= LEAST_POINTS
    said = {text.get_text() for text in texts}
    assert {"Right ureter", "Left ureter", "Both ureters, one stoma", "left lower", "?"} <= said
    assert {"person's\nright", "person's\nleft", "50 mm", "no route found"} <= said


def test_an_overlay_is_named_beside_the_map() -> None:
    scar = SiteMask("scar of the midline", np.eye(*front().row.shape) > 0)
    assert "scar of the midline" in [text.get_text() for text in words((scar,))]
    assert margin_picture(front(), MARKS, (scar,)).data != margin_picture(front(), MARKS).data


def test_it_is_drawn_the_same_every_time_and_said_in_words() -> None:
    one, other = margin_picture(front(), MARKS, phantom=True), margin_picture(front(), MARKS)
    assert one.data == other.data
    assert ElementTree.fromstring(one.data.decode()).tag.endswith("svg")
    assert "phantom" in one.caption
    assert "does not make a site" in one.caption
    assert "not known at 8" in one.alternative
    assert "Both ureters" in one.alternative


@pytest.mark.parametrize(
    ("kind", "head"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")]
)
def test_files_of_each_kind(kind: str, head: bytes) -> None:
    made = margin_file(front(), MARKS, kind)
    assert made.startswith(head)
    assert made == margin_file(front(), MARKS, kind)
