"""A renogram's pictures: what is drawn is what was computed, and what was not is not drawn."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from tests.support.renogram_files import curved, pictured

from thalweg.assess.renogram.study import analysed
from thalweg.record.truth import Truth
from thalweg.sheets.pictures.renogram import renogram_figure, renogram_picture
from thalweg.sheets.pictures.uptake import outline, uptake_picture

if TYPE_CHECKING:
    from matplotlib.artist import Artist

    from thalweg.assess.renogram.result import RenogramResult

SIDES = ("left", "right")


@cache
def result() -> RenogramResult:
    """Return what the artificial study says."""
    return analysed(curved()[0])


def parts(found: RenogramResult) -> dict[str, Artist]:
    """Return everything drawn that carries a name."""
    sheet = Figure(figsize=(7, 4))
    renogram_figure(sheet, found)
    named = {}
    for axes in sheet.axes:
        for artist in (*axes.lines, *axes.collections, *axes.patches, *axes.texts):
            if artist.get_gid():
                named[str(artist.get_gid())] = artist
    return named


def line(artist: Artist) -> tuple[np.ndarray, np.ndarray]:
    """Return a line's points."""
    assert isinstance(artist, Line2D)
    x, y = artist.get_data()
    return np.asarray(x, dtype=float), np.asarray(y, dtype=float)


def test_curves_bands_peaks_and_fits_are_those_computed() -> None:
    found, drawn = result(), parts(result())
    for side in SIDES:
        one = found.kidneys[side]  # type: ignore[index]
        minutes, rate = line(drawn[f"curve-{side}"])
        assert minutes == pytest.approx(one.curve.middles_s / 60)
        assert rate == pytest.approx(one.curve.rate)
        (band,) = drawn[f"band-{side}"].get_paths()  # type: ignore[attr-defined]
        top = band.vertices[:, 1].max()
        assert top == pytest.approx((one.curve.rate + 1.959964 * one.curve.sd).max(), rel=1e-5)
        assert one.peak.time_s is not None
        assert line(drawn[f"peak-{side}"])[0] == pytest.approx([one.peak.time_s.value / 60])
        assert one.patlak is not None
        x, y = line(drawn[f"patlak-line-{side}"])
        assert np.diff(y) / np.diff(60 * x) == pytest.approx([one.patlak.slope])
        assert y[0] == pytest.approx(one.patlak.intercept)
        x, y = line(drawn[f"patlak-used-{side}"])
        assert 60 * x == pytest.approx(one.patlak.x_s[one.patlak.used])
    half = found.kidneys["right"].half_time
    assert half.window_s is not None
    assert half.fall_per_s is not None
    x, y = line(drawn["washout-right"])
    assert (x[0], x[-1]) == pytest.approx(np.array(half.window_s) / 60)
    # The slope of its logarithm is the rate of fall.
    assert -np.polyfit(60 * x, np.log(y), 1)[0] == pytest.approx(half.fall_per_s.value, rel=1e-9)
    # The left one's top lies at the end: nothing was fitted, and nothing is drawn.
    assert found.kidneys["left"].half_time.fall_per_s is None
    assert "washout-left" not in drawn
    window = drawn["uptake-window"].get_extents()  # type: ignore[attr-defined]
    assert window.width > 0
    assert line(drawn["furosemide"])[0] == pytest.approx([20.0, 20.0])


def test_left_and_right_differ_without_colour() -> None:
    drawn = parts(result())
    looks = []
    for side in SIDES:
        curve, marks = drawn[f"curve-{side}"], drawn[f"marks-{side}"]
        assert isinstance(curve, Line2D)
        assert isinstance(marks, Line2D)
        looks.append((curve.get_linestyle(), marks.get_marker(), marks.get_markerfacecolor()))
    assert all(one != other for one, other in zip(*looks, strict=True))


def test_what_was_not_found_is_not_drawn() -> None:
    found = result()
    bare = {
        side: replace(
            one,
            peak=replace(one.peak, time_s=None, rate=None),
            half_time=replace(
                one.half_time,
                state="not looked for",
                time_s=None,
                window_s=None,
                start_rate=None,
                fall_per_s=None,
            ),
            patlak=None,
            no_output=None,
            residuals=(),
            efficiencies=(),
        )
        for side, one in found.kidneys.items()
    }
    poor = replace(
        found,
        kidneys=bare,
        uptake_window_s=None,
        furosemide_s=None,
        share_left=None,
        methods_agree=Truth.NOT_KNOWN,
    )
    drawn = parts(poor)
    gone = ("peak", "washout", "patlak-line", "patlak-used", "no-output")
    assert not [name for name in drawn if name.startswith(gone)]
    assert {"uptake-window", "furosemide"}.isdisjoint(drawn)
    assert "no-patlak" in drawn
    assert {"curve-left", "curve-right"} <= set(drawn)
    picture = renogram_picture(poor)
    assert "No share of function" in picture.alternative
    assert "not looked for" in picture.alternative
    assert "fitted" not in picture.caption


@pytest.mark.parametrize(("minutes", "words"), [(-15.0, "-15 min"), (55.0, "+55 min")])
def test_furosemide_outside_the_study_is_told_in_words(minutes: float, words: str) -> None:
    drawn = parts(replace(result(), furosemide_s=60.0 * minutes))
    assert "furosemide" not in drawn
    assert words in drawn["furosemide-words"].get_text()  # type: ignore[attr-defined]


def test_one_kidney_is_drawn_alone() -> None:
    left = {"left": result().kidneys["left"]}
    drawn = parts(replace(result(), kidneys=left))  # type: ignore[arg-type]
    assert "curve-left" in drawn
    assert not [name for name in drawn if name.endswith("-right")]


def test_the_file_holds_its_parts_by_name_and_is_the_same_every_time() -> None:
    picture = renogram_picture(result(), acquired="2026-02-20", phantom=True)
    names = {each.get("id") for each in ElementTree.fromstring(picture.data).iter()}
    assert {"curve-left", "curve-right", "uptake-window", "patlak-line-left"} <= names
    assert picture.data == renogram_picture(result(), acquired="2026-02-20", phantom=True).data
    assert "2026-02-20" in picture.caption
    assert "phantom" in picture.caption
    for side in SIDES:
        assert result().kidneys[side].pattern in picture.alternative  # type: ignore[index]
    share = result().share_left
    assert share is not None
    assert f"{share.value:.0f} %" in picture.alternative


def test_outlines_run_between_pixels() -> None:
    """A lone pixel at column 2, row 1 has four edges half a pixel away from its centre."""
    mask = np.zeros((4, 5), dtype=bool)
    mask[1, 2] = True
    edges = {tuple(map(tuple, sorted(edge))) for edge in outline(mask).tolist()}
    assert edges == {
        ((1.5, 0.5), (1.5, 1.5)),
        ((2.5, 0.5), (2.5, 1.5)),
        ((1.5, 0.5), (2.5, 0.5)),
        ((1.5, 1.5), (2.5, 1.5)),
    }
    # Everywhere: as many edges as neighbouring pairs that differ, the picture's border included.
    rng = np.random.default_rng(3)
    mask = rng.random((7, 6)) < 0.5
    framed = np.pad(mask, 1).astype(int)
    pairs = np.abs(np.diff(framed, axis=0)).sum() + np.abs(np.diff(framed, axis=1)).sum()
    assert len(outline(mask)) == pairs


def test_the_uptake_picture_names_the_person_s_left() -> None:
    image, masks, _ = pictured()
    picture = uptake_picture(image, masks, (60.0, 120.0))
    text = picture.data.decode()
    assert "person's left is on the picture's left" in picture.alternative
    assert "from 1.0 to 2.0 min" in picture.caption
    assert "posterior view" in picture.caption
    for role in masks:
        assert re.search(rf'id="region-{role}"', text)
    unknown = uptake_picture(replace(image, left_at="", view=""), masks, None)
    assert "no side may be named" in unknown.caption
    assert "view not stated" in unknown.caption
    assert "of the whole study" in unknown.caption
    assert picture.data == uptake_picture(image, masks, (60.0, 120.0)).data
