"""The diagrams of the diversions, read back from their SVG.

Anatomy is held to what every descriptive anatomy says: the left kidney lies higher, a ureter runs
from its kidney to where the operation leads it, a person's right is on the viewer's left.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
import pytest
import typst
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from tests.support.svgs import SVG, Drawn, cross, points_of, through

from thalweg.errors import InputError
from thalweg.plan.catalogue import catalogue
from thalweg.sheets.pictures.diversions import DIAGRAMS, ENGLISH, diversion_picture, english
from thalweg.sheets.pictures.diversions.look import THEMES, contrast

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from thalweg.sheets.pictures.diversions.picture import Size

SIZES: tuple[Size, ...] = ("page", "phone", "small")
VARIANTS = [
    (key, side, size)
    for key, diagram in DIAGRAMS.items()
    for side in diagram.sides
    for size in SIZES
]
ARABIC = "كلمات طويلة بعض الشيء"
STOMAS = {
    "cutaneous-single": 1, "cutaneous-bilateral": 2, "cutaneous-double-barrel": 1,
    "cutaneous-loop": 2, "transuretero-cutaneous": 1, "ileal-conduit": 1, "colon-conduit": 1,
    "jejunal-conduit": 1, "continent-pouch": 1, "neobladder": 0, "ureterosigmoidostomy": 0,
    "suprapubic-cystostomy": 0, "nephrostomy": 0,
}  # fmt: skip
BAGS = {
    "cutaneous-single": 1, "cutaneous-bilateral": 2, "cutaneous-double-barrel": 1,
    "cutaneous-loop": 0, "transuretero-cutaneous": 1, "ileal-conduit": 1, "colon-conduit": 1,
    "jejunal-conduit": 1, "continent-pouch": 0, "neobladder": 0, "ureterosigmoidostomy": 0,
    "suprapubic-cystostomy": 1, "nephrostomy": 2,
}  # fmt: skip
ON_BOWEL = {
    "ileal-conduit", "colon-conduit", "jejunal-conduit", "continent-pouch", "neobladder",
    "ureterosigmoidostomy",
}  # fmt: skip
BLADDER_STAYS = {"suprapubic-cystostomy", "nephrostomy", "cutaneous-loop"}


def drawn(key: str, **how: object) -> Drawn:
    return Drawn(diversion_picture(key, **how).data)  # type: ignore[arg-type]


def laid_out_well(picture: Drawn) -> None:
    """No word leaves the picture or meets another, no line crosses another or a word."""
    assert picture.words_outside() == []
    assert picture.words_meeting() == []
    leaders = picture.leaders()
    ends = [end for _, end in leaders]
    apart = [abs(one - other) for one, other in itertools.combinations(ends, 2)]
    assert min(apart) > 4, "each line has a part of its own to point at"
    crossed = [pair for pair in itertools.combinations(leaders, 2) if cross(*pair)]
    assert crossed == []
    struck = [word.text for word in picture.words for line in leaders if through(line, word)]
    assert struck == []


def test_every_diversion_of_the_catalogue_has_one() -> None:
    assert {row.key for row in catalogue().diversions} <= set(DIAGRAMS)
    assert {"cutaneous-loop", "jejunal-conduit", "ureterosigmoidostomy"} <= set(DIAGRAMS)


@pytest.mark.parametrize(("key", "side", "size"), VARIANTS)
def test_words_and_lines_keep_clear(key: str, side: str, size: Size) -> None:
    laid_out_well(drawn(key, side=side, size=size))


@pytest.mark.parametrize("key", DIAGRAMS)
def test_words_a_third_longer_still_fit(key: str) -> None:
    # German and Finnish run about a third longer than English (common practice of translators).
    def longer(which: str) -> str:
        text = english(which)
        return f"{text} {text[: len(text) // 3].strip()}"

    for size in SIZES:
        laid_out_well(drawn(key, size=size, words=longer))


@pytest.mark.parametrize("key", DIAGRAMS)
def test_a_script_from_right_to_left_turns_the_words_and_not_the_body(key: str) -> None:
    turned = drawn(key, words=lambda _: ARABIC, right_to_left=True)
    laid_out_well(turned)
    lines = [one for one in turned.root.iter(f"{SVG}text") if "number" not in one.get("class", "")]
    # Held by the middle, a line stands in one place whether or not a program turns "start" round.
    assert {(one.get("direction"), one.get("text-anchor")) for one in lines} == {("rtl", "middle")}
    (note,) = turned.all("note")
    assert float(note.get("x", "0")) > turned.width / 2
    plain = drawn(key)
    for part in ("kidney", "kidney-gone", "stoma", "bladder"):
        paths = [[one.attrib for one in picture.all(part)] for picture in (turned, plain)]
        assert paths[0] == paths[1]


@pytest.mark.parametrize("key", DIAGRAMS)
def test_screen_readers_and_captions_say_what_is_drawn(key: str) -> None:
    for side in DIAGRAMS[key].sides:
        picture = diversion_picture(key, side=side, size="small")
        root = Drawn(picture.data).root
        assert root.get("role") == "img"
        says = {
            one.get("id"): one.text
            for one in (root.find(f"{SVG}title"), root.find(f"{SVG}desc"))
            if one is not None
        }
        assert list(says) == (root.get("aria-labelledby") or "").split()
        assert next(iter(says.values())) == english(f"diagram.title.{key}")
        side_said = english(f"diagram.side.{side}")
        assert all(
            side_said in text for text in (list(says.values())[1] or "", picture.alternative)
        )
        assert english("diagram.note") in picture.alternative
        # The numbers drawn are those of the caption, none missing and none left over.
        numbers = {one.text for one in Drawn(picture.data).all("number")}
        assert numbers == {str(n) for n in range(1, len(numbers) + 1)}
        for number in numbers:
            assert f"{number} " in picture.caption


def test_every_word_is_used_and_none_is_missing() -> None:
    asked: set[str] = set()

    def noting(key: str) -> str:
        asked.add(key)
        return english(key)

    for key, side, size in VARIANTS:
        diversion_picture(key, side=side, size=size, words=noting)
    diversion_picture("ileal-conduit", site_mm=(-60.0, -30.0), words=noting)
    assert asked == set(ENGLISH)


def middle(picture: Drawn, part: str) -> NDArray[np.float64]:
    shapes = [points_of(one).mean(axis=0) for one in picture.all(part, "path")]
    return np.array(sorted(shapes, key=lambda place: float(place[0])))


@pytest.mark.parametrize("key", DIAGRAMS)
def test_kidneys_lie_as_in_a_body(key: str) -> None:
    for side in DIAGRAMS[key].sides:
        picture = drawn(key, side=side)
        kidneys = np.vstack(
            [middle(picture, part) for part in ("kidney", "kidney-gone") if picture.all(part)]
        )
        assert len(kidneys) == 2
        right, left = kidneys[np.argsort(kidneys[:, 0])]
        assert right[0] < 150 < left[0]
        assert left[1] < right[1], "the left kidney lies higher"
        gone = len(picture.all("kidney-gone"))
        assert gone == (1 if key == "cutaneous-single" else 0)


@pytest.mark.parametrize("key", DIAGRAMS)
def test_parts_are_those_of_the_operation(key: str) -> None:
    picture = drawn(key)
    assert len(picture.all("stoma")) == STOMAS[key]
    # A bag is its see-through body and its outline.
    assert len(picture.all("bag", "path")) == 2 * BAGS[key]
    carrying = [part for part in ("bowel", "pouch", "neobladder", "channel") if picture.all(part)]
    assert bool(carrying) == (key in ON_BOWEL)
    kept = bool(picture.all("bladder"))
    assert kept == (key in BLADDER_STAYS)
    assert bool(picture.all("bladder-gone")) == (not kept and key != "neobladder")


@pytest.mark.parametrize("key", DIAGRAMS)
def test_each_ureter_runs_from_its_kidney_downwards(key: str) -> None:
    for side in DIAGRAMS[key].sides:
        picture = drawn(key, side=side)
        starts = [points_of(one)[0] for one in picture.all("ureter")]
        pelves = middle(picture, "renal-pelvis")
        for pelvis in pelves:
            nearest = min(float(np.hypot(*(pelvis - start))) for start in starts)
            assert nearest < 12
        for one in picture.all("ureter"):
            course = points_of(one)
            assert course[-1][1] > course[0][1] + 30


@pytest.mark.parametrize(
    "key", ["ileal-conduit", "colon-conduit", "jejunal-conduit", "ureterosigmoidostomy"]
)
def test_ureters_end_in_the_bowel(key: str) -> None:
    for side in DIAGRAMS[key].sides:
        picture = drawn(key, side=side)
        piece = picture.all("bowel")[0]
        half = float(piece.get("stroke-width", "0")) / 2
        course = points_of(piece)
        along = np.vstack([np.linspace(a, b, 60) for a, b in itertools.pairwise(course)])
        for one in picture.all("ureter"):
            end = points_of(one)[-1]
            assert float(np.hypot(*(along - end).T).min()) < half + 2


@pytest.mark.parametrize(
    "key", ["ileal-conduit", "colon-conduit", "jejunal-conduit", "continent-pouch"]
)
def test_bowel_opens_at_the_stoma(key: str) -> None:
    part = "channel" if key == "continent-pouch" else "bowel"
    for side in DIAGRAMS[key].sides:
        picture = drawn(key, side=side)
        end = points_of(picture.all(part, "path")[0])[-1]
        (stoma,) = picture.all("stoma")
        assert end == pytest.approx([float(stoma.get("cx", "0")), float(stoma.get("cy", "0"))])


@pytest.mark.parametrize(
    "key",
    [key for key, one in DIAGRAMS.items() if set(one.sides) == {"right", "left"} and one.by_site],
)
def test_the_stoma_changes_sides_and_the_kidneys_do_not(key: str) -> None:
    right, left = (drawn(key, side=side) for side in ("right", "left"))
    (one,), (other,) = (picture.all("stoma") for picture in (right, left))
    assert float(one.get("cx", "0")) < 150
    assert float(one.get("cx", "0")) + float(other.get("cx", "0")) == pytest.approx(300)
    assert one.get("cy") == other.get("cy")
    outlines = [
        {shape.get("d") for part in ("kidney", "kidney-gone") for shape in picture.all(part)}
        for picture in (right, left)
    ]
    if key != "cutaneous-single":
        assert outlines[0] == outlines[1]


def stoma_at(x: float, z: float) -> tuple[float, float]:
    (stoma,) = drawn("ileal-conduit", site_mm=(x, z)).all("stoma")
    return float(stoma.get("cx", "0")), float(stoma.get("cy", "0"))


def test_a_marked_site_moves_the_stoma() -> None:
    here = stoma_at(-65.0, -30.0)
    assert here[0] < 150
    assert here[1] > 190, "below the navel"
    assert stoma_at(-80.0, -30.0)[0] < here[0]
    assert stoma_at(-65.0, 20.0)[1] < 190
    assert stoma_at(65.0, -30.0) == pytest.approx((300 - here[0], here[1]))
    picture = diversion_picture("ileal-conduit", site_mm=(-65.0, -30.0))
    assert english("diagram.site") in picture.caption
    assert english("diagram.side.right") in picture.alternative
    # Far out it stays on the trunk.
    assert 60 < stoma_at(-400.0, -400.0)[0] < 150


@pytest.mark.parametrize("site", [(x, z) for x in (-62, 62, -95, 90) for z in (-70, -28, 34, 60)])
def test_words_keep_clear_wherever_the_stoma_is(site: tuple[float, float]) -> None:
    for key, diagram in DIAGRAMS.items():
        if diagram.by_site and diagram.stoma is not None:
            for size in SIZES:
                laid_out_well(drawn(key, site_mm=site, size=size))


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"key": "ileal-conduct"}, "ileal-conduit"),
        ({"key": "neobladder", "side": "left"}, "choose none"),
        ({"key": "ileal-conduit", "side": "left", "site_mm": (-60.0, 0.0)}, "person's right"),
        ({"key": "ileal-conduit", "theme": "sepia"}, "choose light, dark"),
        ({"key": "ileal-conduit", "size": "poster"}, "choose page"),
    ],
)
def test_what_cannot_be_drawn_is_said(how: dict[str, object], said: str) -> None:
    key = str(how.pop("key"))
    with pytest.raises(InputError, match=said):
        drawn(key, **how)


def test_contrast_is_as_published() -> None:
    # WCAG 2.2: black on white is 21:1, a colour on itself 1:1; #767676 is known as the lightest
    # grey that passes 4.5:1 on white, #777777 as the darkest that fails (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#a01c2c", "#a01c2c") == pytest.approx(1)
    assert contrast("#777777", "#ffffff") < 4.5 <= contrast("#767676", "#ffffff")


@pytest.mark.parametrize("name", THEMES)
def test_colours_are_far_enough_apart(name: str) -> None:
    theme = THEMES[name]
    # WCAG 2.2 criteria 1.4.3 (text, 4.5:1) and 1.4.11 (parts of graphics, 3:1).
    assert contrast(theme.ink, theme.paper) >= 4.5
    assert contrast(theme.soft, theme.paper) >= 4.5
    edges = ("skin_line", "kidney_line", "bowel_line", "rest", "stoma_line", "bag_line", "tube")
    for edge in edges:
        assert contrast(getattr(theme, edge), theme.skin) >= 3, edge
    # A ureter stands out by its core or by its edge, on dark and on light ground.
    assert max(contrast(theme.urine, theme.skin), contrast(theme.urine_line, theme.skin)) >= 3
    assert contrast(theme.icon, theme.paper) >= 4.5
    assert contrast(theme.icon_empty, theme.paper) >= 3
    for colour in set(drawn("ileal-conduit", theme=name).root.itertext()):
        assert "#" not in colour


@pytest.mark.parametrize("name", THEMES)
def test_texts_are_in_ink_on_paper(name: str) -> None:
    for size in SIZES:
        picture = drawn("ileal-conduit", theme=name, size=size)
        paper = next(picture.root.iter(f"{SVG}rect"))
        grounds = [one for one in picture.root.iter(f"{SVG}rect") if one.get("width") == "100%"]
        assert [one.get("fill") for one in grounds] == [THEMES[name].paper]
        assert paper is not None
        for text in picture.root.iter(f"{SVG}text"):
            assert contrast(text.get("fill", ""), THEMES[name].paper) >= 4.5


def test_words_are_large_enough() -> None:
    # Half a page of A4 is drawn 178 mm wide, a corner 50 mm; a phone shows pixels. Large type for
    # people begins at 12 points, 16 pixels (common practice).
    sizes = {}
    for size, millimetres in (("page", 178.0), ("small", 50.0)):
        picture = drawn("ileal-conduit", size=size)
        points = millimetres / 25.4 * 72 / picture.width
        sizes[size] = min(
            float(one.get("font-size", "0")) * points
            for one in picture.root.iter(f"{SVG}text")
            if one.get("class") != "head"
        )
    assert sizes["page"] >= 11.9
    assert sizes["small"] >= 7
    phone = drawn("ileal-conduit", size="phone")
    assert phone.width == 360
    assert all(float(one.get("font-size", "0")) >= 16 for one in phone.all("key"))


def test_the_same_diagram_is_the_same_bytes() -> None:
    assert diversion_picture("neobladder").data == diversion_picture("neobladder").data


def _set(folder: Path, theme: str) -> NDArray[np.float64]:
    names = []
    for key in DIAGRAMS:
        picture = diversion_picture(key, theme=theme)
        folder.joinpath(f"{key}.svg").write_bytes(picture.data)
        names.append(f'#image("{key}.svg", width: 80mm)')
    main = folder / "main.typ"
    main.write_text(
        "#set page(width: auto, height: auto)\n#grid(columns: 4, "
        + ", ".join(f"[{name}]" for name in names)
        + ")"
    )
    png = typst.compile(
        str(main),
        root=str(folder),
        font_paths=[f"{mpl.get_data_path()}/fonts/ttf"],
        ignore_system_fonts=True,
        format="png",
        ppi=72,
    )
    folder.joinpath("all.png").write_bytes(png)
    return np.asarray(imread(folder / "all.png"))[..., :3]


def test_print_shows_them_with_their_textures(tmp_path: Path) -> None:
    picture = _set(tmp_path, "light")

    def count(colour: str) -> int:
        away = np.abs(picture - np.array(to_rgb(colour))).max(axis=-1)
        return int((away < 0.06).sum())

    theme = THEMES["light"]
    for part in (theme.skin, theme.kidney, theme.urine, theme.stoma):
        assert count(part) > 50
    # Striped bowel is neither all ground nor all line.
    assert count(theme.bowel) > 50


def test_a_bladder_that_one_kidney_still_fills_is_not_said_to_be_dry() -> None:
    dry = english("diagram.bladder-little")
    for side in DIAGRAMS["nephrostomy"].sides:
        said = " ".join(word.text for word in drawn("nephrostomy", side=side).words)
        assert (dry in said) == (side == "both")


@pytest.mark.parametrize("site", [None, (-62.0, -28.0), (74.0, 34.0), (90.0, 60.0)])
def test_one_ureter_ends_in_the_other(site: tuple[float, float] | None) -> None:
    picture = drawn("transuretero-cutaneous", site_mm=site)
    # Each ureter is an edge and a core: donor first, recipient after it.
    donor, _, recipient, _ = (points_of(one) for one in picture.all("ureter"))
    along = np.vstack([np.linspace(a, b, 60) for a, b in itertools.pairwise(recipient)])
    assert float(np.hypot(*(along - donor[-1]).T).min()) < 2
    assert (donor[0][0] - 150) * (recipient[0][0] - 150) < 0, "they come from two kidneys"
    (stoma,) = picture.all("stoma")
    assert recipient[-1] == pytest.approx([float(stoma.get(name, "0")) for name in ("cx", "cy")])
