"""A forest plot holds every series, and says in words what it shows."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from PIL import Image

from thalweg.evidence.pooling import pooled_rows
from thalweg.evidence.pooling.rows import PoolRow
from thalweg.sheets.pictures.canvas import ACCENT
from thalweg.sheets.pictures.forest import forest_picture

ROWS = [PoolRow(f"Place {n}", 1990 + n, 100 + n, 10 + n % 4, "median 24 months") for n in range(20)]


def drawn(k: int, **rest: object) -> tuple[np.ndarray, str]:
    pool = pooled_rows("Stones", ROWS[:k], look=False, **rest)  # type: ignore[arg-type]
    picture = forest_picture(pool, kind="png")
    return np.asarray(Image.open(io.BytesIO(picture.data)).convert("RGB")), picture.alternative


@pytest.mark.parametrize("k", [1, 3, 8, 20])
def test_every_series_has_its_square_on_a_line_of_its_own(k: int) -> None:
    image, words = drawn(k)
    colour = tuple(int(ACCENT[n : n + 2], 16) for n in (1, 3, 5))
    near = np.abs(image.astype(int) - colour).max(axis=2) < 12
    square = near.sum(axis=1) >= 4
    runs = np.flatnonzero(np.diff(np.concatenate([[0], square.astype(int)])) == 1)
    assert len(runs) == k
    for row in ROWS[:k]:
        assert f"{row.label}: {row.events} of {row.total}" in words
    # Nothing is cut off: the rim is white.
    for rim in (image[0], image[-1], image[:, 0], image[:, -1]):
        assert (rim > 250).all()


def test_squares_stand_where_their_shares_do() -> None:
    shares = (5, 25, 50, 75)
    rows = [PoolRow(f"P{n}", 2000 + n, 400, 4 * share) for n, share in enumerate(shares)]
    picture = forest_picture(pooled_rows("Stones", rows, look=False), kind="png")
    image = np.asarray(Image.open(io.BytesIO(picture.data)).convert("RGB")).astype(int)
    colour = tuple(int(ACCENT[n : n + 2], 16) for n in (1, 3, 5))
    mask = np.abs(image - colour).max(axis=2) < 12
    lines = np.flatnonzero(mask.sum(axis=1) >= 4)
    groups = np.split(lines, np.flatnonzero(np.diff(lines) > 1) + 1)
    middles = [np.flatnonzero(mask[group].any(axis=0)).mean() for group in groups]
    # Equal steps of the share are equal steps across the page, to a pixel or two.
    slope, start = np.polyfit(shares, middles, 1)
    assert np.abs(np.polyval([slope, start], shares) - middles).max() < 2.5
    assert slope > 1


def test_words_tell_the_pool_what_stayed_out_and_the_unit() -> None:
    own = [PoolRow("this unit", 2026, 50, 40, own=True)]
    out = [PoolRow("Elsewhere", 1999, 30, None, why_out="It gives no count.")]
    plain, _ = drawn(5)
    image, words = drawn(5, own=own, left_out=out)
    assert image.shape[0] > plain.shape[0]
    assert "5 series pooled, 1 left out" in words
    assert re.search(r"Together \d+\.\d \(\d+\.\d to \d+\.\d\) %", words)
    assert "A further place" in words
    assert "This unit: 40 of 50 (80.0 %)" in words


def test_the_same_pool_is_the_same_file() -> None:
    pool = pooled_rows("Stones", ROWS[:4], look=False)
    assert forest_picture(pool, kind="svg").data == forest_picture(pool, kind="svg").data
