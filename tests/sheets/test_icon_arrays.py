"""Arrays of people: what is drawn is what is published, to the last figure."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from tests.support.svgs import SVG, Drawn

from thalweg.errors import InputError
from thalweg.sheets.pictures.icon_words import ENGLISH, english, in_words
from thalweg.sheets.pictures.icons import BANDS, icon_array, icon_arrays
from thalweg.sheets.pictures.shares import UNITS, Share, counted, denominator

TENTHS = 10_000
"""Shares are drawn from exact ten-thousandths, so that the check can count in fractions."""


def figures(picture: Drawn) -> list[dict[str, int]]:
    """Return how many of each band every panel holds."""
    return [
        {band: sum(one.get("class") == f"icon {band}" for one in panel) for band in BANDS}
        for panel in picture.all("panel")
    ]


@some.composite
def shares(draw: some.DrawFn) -> tuple[Fraction, Fraction, Fraction]:
    low, estimate, high = sorted(draw(some.tuples(*[some.integers(0, TENTHS)] * 3)))
    return Fraction(low, TENTHS), Fraction(estimate, TENTHS), Fraction(high, TENTHS)


@given(shares(), some.sampled_from((100, 1000)))
def test_whole_people_say_what_the_share_says(
    ends: tuple[Fraction, Fraction, Fraction], of: int
) -> None:
    low, estimate, high = ends
    found = counted(Share("x", float(estimate), float(low), float(high), 50), of)
    assert found.low is not None
    assert found.high is not None
    # In exact arithmetic: the interval is rounded outwards, by less than one; the estimate to the
    # nearest.
    assert 0 <= low * of - found.low < 1
    assert 0 <= found.high - high * of < 1
    assert abs(found.estimate - estimate * of) <= Fraction(1, 2)
    assert 0 <= found.low <= found.estimate <= found.high <= of
    assert sum(found.bands) == of
    assert min(found.bands) >= 0


@given(some.lists(some.integers(0, TENTHS), min_size=2, max_size=6), some.sampled_from((100, 1000)))
def test_rounding_keeps_the_order(values: list[int], of: int) -> None:
    ranked = [counted(Share("x", value / TENTHS), of).estimate for value in sorted(values)]
    assert ranked == sorted(ranked)


@settings(max_examples=25, deadline=None)
@given(some.lists(shares(), min_size=1, max_size=4))
def test_figures_drawn_are_the_counts(several: list[tuple[Fraction, Fraction, Fraction]]) -> None:
    given_shares = [
        Share(f"n{place}", float(estimate), float(low), float(high), 40)
        for place, (low, estimate, high) in enumerate(several)
    ]
    of = denominator(given_shares)
    picture = Drawn(icon_arrays(given_shares).data)
    drawn = figures(picture)
    assert [tuple(one[band] for band in BANDS) for one in drawn] == [
        counted(share, of).bands for share in given_shares
    ]
    assert all(sum(one.values()) == of for one in drawn), "one denominator for all"


def test_a_worked_share() -> None:
    # 12 of 100, 8 to 18: 8 full, 4 crossed, 6 hatched, 82 outlines.
    share = Share("Stoma narrows", 0.12, 0.08, 0.18, 410)
    picture = icon_array(share)
    assert figures(Drawn(picture.data)) == [{"sure": 8, "estimate": 4, "maybe": 6, "not": 82}]
    said = "12 of 100 people; between 8 and 18. From 410 people."
    assert picture.alternative == f"Stoma narrows: {said}"
    drawn = Drawn(picture.data)
    assert " ".join(one.text or "" for one in drawn.all("said")) == said
    assert drawn.root.find(f"{SVG}desc").text == picture.alternative  # type: ignore[union-attr]


def test_binary_rounding_adds_no_one() -> None:
    # 0.07 × 100 is 7.000000000000001 and 0.29 × 100 is 28.999999999999996 in binary.
    assert 0.07 * 100 > 7
    assert 0.29 * 100 < 29
    assert counted(Share("x", 0.07, 0.07, 0.07), 100).bands == (7, 0, 0, 93)
    assert counted(Share("x", 0.29, 0.29, 0.29), 100).bands == (29, 0, 0, 71)


def test_figures_stand_grouped_in_order() -> None:
    (panel,) = Drawn(icon_array(Share("x", 0.31, 0.2, 0.44, 90)).data).all("panel")
    order = [BANDS.index((one.get("class") or "").split()[1]) for one in panel]
    assert order == sorted(order)
    numbers = [[float(n) for n in re.findall(r"-?\d+\.\d+", one.get("d", ""))[:2]] for one in panel]
    assert numbers == sorted(numbers, key=lambda place: (round(place[1]), place[0])), "row by row"


def test_a_script_from_right_to_left_fills_from_the_right() -> None:
    share = Share("كلمات", 0.05, 0.05, 0.05, 90)
    words = dict.fromkeys(ENGLISH, "كلمات كلمات")
    picture = Drawn(icon_arrays((share, share), words=words.__getitem__, right_to_left=True).data)
    first = picture.all("panel")[0]
    places = [float(re.findall(r"-?\d+\.\d+", one.get("d", ""))[0]) for one in first][:10]
    assert places == sorted(places, reverse=True)
    assert min(places) > picture.width / 2, "the first array stands at the right"
    assert picture.words_outside() == []
    assert picture.words_meeting() == []


def test_rare_things_are_of_a_thousand() -> None:
    rare, common = Share("a", 0.004, 0.002, 0.009, 1200), Share("b", 0.02, 0.01, 0.04, 800)
    assert denominator((common,)) == 100
    assert denominator((rare, common)) == 1000
    drawn = figures(Drawn(icon_arrays((rare, common)).data))
    assert [sum(one.values()) for one in drawn] == [1000, 1000]
    assert drawn[0] == {"sure": 2, "estimate": 2, "maybe": 5, "not": 991}
    assert in_words(rare, 1000) == "4 of 1000 people; between 2 and 9. From 1,200 people."
    # None seen is not "rare" while the interval reaches 3 of 100.
    assert denominator((Share("c", 0.0, 0.0, 0.03, 100),)) == 100
    assert denominator((Share("c", 0.0, 0.0, 0.003, 1200),)) == 1000


def test_more_than_nought_is_never_said_as_nought() -> None:
    said = in_words(Share("x", 0.0003, 0.0001, 0.0009, 9000), 1000)
    assert said == "Fewer than 1 of 1000 people; between 0 and 1. From 9,000 people."
    assert in_words(Share("x", 0.0, 0.0, 0.03, 120), 100).startswith(
        "0 of 100 people; between 0 and 3"
    )


def test_what_is_not_known_shows_no_figures() -> None:
    unknown, known = Share("a", None), Share("b", 0.2, 0.1, 0.3, 70)
    picture = icon_arrays((unknown, known))
    drawn = Drawn(picture.data)
    empty, full = figures(drawn)
    assert sum(empty.values()) == 0
    assert sum(full.values()) == 100
    assert len(drawn.all("unknown")) == 1
    assert "a: Not known" in picture.alternative
    assert figures(Drawn(icon_array(unknown).data)) == [dict.fromkeys(BANDS, 0)]


def test_an_estimate_without_interval_has_no_sure_figures() -> None:
    share = Share("x", 0.21)
    picture = icon_array(share)
    assert figures(Drawn(picture.data)) == [{"sure": 0, "estimate": 21, "maybe": 0, "not": 79}]
    assert "how far this may be off is not known" in picture.alternative
    assert "From how many is not known" in picture.alternative


def test_the_key_names_the_bands_drawn_and_no_other() -> None:
    drawn = Drawn(icon_array(Share("x", 0.0, 0.0, 0.03, 100)).data)
    (key,) = drawn.all("key")
    bands = [one.get("class", "").split()[1] for one in key if "icon" in one.get("class", "")]
    assert bands == ["maybe", "not"]
    assert " ".join(one.text or "" for one in drawn.all("key-words")) == " ".join(
        english(f"icons.{one}") for one in bands
    )


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_keep_clear(count: int, unit: str, theme: str) -> None:
    label = "Cutaneous ureterostomy, both ureters in one stoma"
    rows = [Share(label, 0.5 / (n + 1), 0.1, 0.6, 1234, unit) for n in range(count)]
    drawn = Drawn(icon_arrays(rows, theme=theme).data)
    assert drawn.words_outside() == []
    assert drawn.words_meeting() == []


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"estimate": 12.0}, "outside 0 to 1"),
        ({"estimate": 0.1, "low": 0.2, "high": 0.3}, "outside its interval"),
        ({"estimate": 0.1, "low": 0.05}, "one end"),
        ({"estimate": None, "low": 0.1, "high": 0.2}, "no estimate"),
        ({"estimate": 0.1, "people": 0}, "rests on 0"),
        ({"estimate": 0.1, "unit": "stent"}, "renal unit"),
    ],
)
def test_a_share_that_cannot_be_is_refused(row: dict[str, float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        Share("x", **row)  # type: ignore[arg-type]


def test_what_cannot_be_compared_is_refused() -> None:
    people, units = Share("a", 0.1, 0.05, 0.2, 40), Share("b", 0.1, 0.05, 0.2, 40, "renal unit")
    with pytest.raises(InputError, match="one unit only"):
        icon_arrays((people, units))
    with pytest.raises(InputError, match="1 to 4"):
        icon_arrays((people,) * 5)
    with pytest.raises(InputError, match="100 or 1000"):
        icon_array(people, of=50)
