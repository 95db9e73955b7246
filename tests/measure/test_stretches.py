"""Dividing a course: what is a gap, a narrowing, a dilatation, and what is none of them."""

from __future__ import annotations

import numpy as np
import pytest

from thalweg.measure.stretches import (
    closed_holes,
    dilatations,
    gaps_of,
    narrowings,
    runs,
    without_specks,
)

STATION = np.arange(120.0)
LIT = np.ones(120, dtype=bool)
NO_LIMIT = np.full(120, np.nan)


def calibre(*stretches: tuple[int, int, float]) -> np.ndarray:
    out = np.full(120, 4.0)
    for first, stop, value in stretches:
        out[first:stop] = value
    return out


def test_runs() -> None:
    assert runs(np.array([1, 1, 0, 1, 0, 0, 1], dtype=bool)) == [(0, 2), (3, 4), (6, 7)]
    assert runs(np.zeros(3, dtype=bool)) == []


def test_gaps_run_halfway_to_what_is_lit() -> None:
    lit = LIT.copy()
    lit[10:30] = False
    lit[110:] = False
    first, last = gaps_of(lit, STATION)
    assert (first.from_mm, first.to_mm) == (9.5, 29.5)
    assert (last.from_mm, last.to_mm) == (109.5, 119.0)
    assert first.length_mm == 20.0


def test_short_losses_are_closed_and_lone_specks_left_out() -> None:
    lit = LIT.copy()
    lit[20:22] = False
    assert closed_holes(lit, 1.0).all()
    lit[40:80] = False
    lit[58:61] = True
    kept, specks = without_specks(lit, 1.0)
    assert specks == [(58, 61)]
    assert not kept[40:80].any()


def test_a_narrowing_between_equal_sides() -> None:
    (narrow,) = narrowings(calibre((50, 58, 1.8)), NO_LIMIT, LIT, STATION)
    assert (narrow.from_mm, narrow.to_mm) == (49.5, 57.5)
    assert narrow.least_calibre_mm == 1.8
    assert narrow.reference_calibre_mm == 4.0
    assert not narrow.less_than


def test_a_narrowing_under_a_dilated_ureter() -> None:
    (narrow,) = narrowings(calibre((0, 60, 9.0), (60, 70, 2.4)), NO_LIMIT, LIT, STATION)
    assert narrow.least_calibre_mm == 2.4
    assert narrow.reference_calibre_mm == 9.0


def test_where_a_dilatation_ends_there_is_no_narrowing() -> None:
    assert narrowings(calibre((0, 60, 9.0)), NO_LIMIT, LIT, STATION) == ()


def test_closing_towards_a_gap_is_no_narrowing() -> None:
    lit = LIT.copy()
    lit[60:80] = False
    narrow = calibre((55, 60, 1.9), (60, 80, np.nan))
    assert narrowings(narrow, NO_LIMIT, lit, STATION) == ()


def test_a_lumen_finer_than_the_image_is_less_than() -> None:
    upper = NO_LIMIT.copy()
    upper[50:56] = 1.1
    (narrow,) = narrowings(calibre((50, 56, np.nan)), upper, LIT, STATION)
    assert narrow.less_than
    assert narrow.least_calibre_mm == pytest.approx(1.1)


def test_dilatations() -> None:
    wide = calibre((10, 40, 8.5), (60, 63, 9.0))
    (found,) = dilatations(wide, np.zeros(120, dtype=bool), STATION)
    assert (found.from_mm, found.to_mm, found.greatest_calibre_mm) == (9.5, 39.5, 8.5)
    assert not found.more_than
    beyond = np.zeros(120, dtype=bool)
    beyond[20:25] = True
    (found,) = dilatations(wide, beyond, STATION)
    assert found.more_than
