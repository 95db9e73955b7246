"""Write a case file that reads back as the same facts."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.exchange.casefile.marks import COURSES, URETERS, landmark_keys
from thalweg.exchange.casefile.preferences import is_preference, preference_lines
from thalweg.exchange.casefile.radiographs import is_of_radiograph, radiograph_lines
from thalweg.exchange.casefile.renograms import is_of_renogram, renogram_lines
from thalweg.exchange.casefile.second import SECONDS, shared_points
from thalweg.record.fact import Mark

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from thalweg.exchange.casefile.read import CaseFile
    from thalweg.record.fact import Fact, Point

__all__ = ["write_casefile"]


def write_casefile(path: Path, content: CaseFile) -> None:
    """Write a case file.

    Parameters
    ----------
    path : Path
        Replaced if it exists.
    content : CaseFile
        Person, course and marks. A mark's series is left out: the folder stands for it; for a
        second phase the folder stands in the mark, as it was read.

    Raises
    ------
    ValueError
        If marks differ in their date, or a fact has no place in a case file.
    """
    films = [fact for fact in content.facts if is_of_radiograph(fact)]
    counted = [fact for fact in content.facts if is_of_renogram(fact)]
    asked = [fact for fact in content.facts if is_preference(fact)]
    apart = {fact.id for fact in (*films, *counted, *asked)}
    others = [fact for fact in content.facts if fact.id not in apart]
    course = [fact for fact in others if not isinstance(fact.value, Mark) and not fact.label]
    marks = [fact for fact in others if isinstance(fact.value, Mark)]
    lengths = [fact for fact in others if fact.label and not isinstance(fact.value, Mark)]
    dates = {fact.at for fact in (*marks, *lengths)}
    if len(dates) > 1:
        msg = "a case file has one date for all its marks"
        raise ValueError(msg)
    person = content.person
    lines = [
        "[person]",
        f"reference = {_text(person.reference)}",
        f"name = {_text(person.name)}",
        f"born = {person.born.isoformat()}",
        f"sex = {_text(person.sex)}",
        *_course(course),
        *preference_lines(asked),
        "",
        "[images]",
        *(f"at = {at.isoformat()}" for at in dates),
        *([f"folder = {_text(content.images_folder)}"] if content.images_folder else []),
        f"accept_identity = {str(content.accept_identity).lower()}",
        *_marks(marks, lengths),
        *radiograph_lines(films, {}),
        *renogram_lines(counted),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _text(words: str) -> str:
    # JSON's escapes are TOML's, except that JSON leaves U+007F bare.
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")


def _point(point: Point) -> str:
    return "[" + ", ".join(repr(float(c)) for c in point) + "]"


def _course(facts: Iterable[Fact]) -> Iterator[str]:
    yield ""
    yield "[course]"
    for fact in facts:
        if isinstance(fact.value, Decimal):
            value = _text(f"{fact.value} {fact.unit}")
        else:
            value = (
                str(fact.value).lower() if isinstance(fact.value, bool) else _text(str(fact.value))
            )
        yield f"{fact.concept} = {{ value = {value}, at = {fact.at.isoformat()} }}"


def _marks(marks: list[Fact], lengths: list[Fact]) -> Iterator[str]:
    sides = {key: side for side, key in URETERS.items()}
    courses = {key: side for side, key in COURSES.items()}
    landmarks = []
    for fact in marks:
        mark = fact.value
        assert isinstance(mark, Mark)  # noqa: S101 - chosen so by the caller
        if fact.concept in sides:
            start, *via, end = map(_point, mark.points_mm)
            yield f"\n[ureter.{sides[fact.concept]}]"
            yield from (f"start_mm = {start}", f"via_mm = [{', '.join(via)}]", f"end_mm = {end}")
            yield from _second(sides[fact.concept], mark, marks, by_hand=False)
        elif fact.concept in courses:
            yield f"\n[ureter.{courses[fact.concept]}]"
            yield f"points_mm = [{', '.join(map(_point, mark.points_mm))}]"
            yield "by_hand = true"
            yield from _second(courses[fact.concept], mark, marks, by_hand=True)
        elif fact.concept in SECONDS.values():
            continue  # written with the ureter's first phase
        elif fact.concept == "stoma-site":
            yield from _site(fact, mark, lengths)
        elif fact.concept == "obstacle":
            yield from _obstacle(fact, mark)
        elif fact.concept in landmark_keys():
            landmarks.append(f"{fact.concept} = {_point(mark.points_mm[0])}")
        else:
            msg = f"{fact.concept!r} has no place in a case file"
            raise ValueError(msg)
    if landmarks:
        yield from ("\n[landmarks_mm]", *landmarks)


def _second(side: str, first: Mark, marks: list[Fact], *, by_hand: bool) -> Iterator[str]:
    for fact in marks:
        mark = fact.value
        if fact.concept == SECONDS[side] and isinstance(mark, Mark):
            yield f"second = {_text(mark.series_uid)}"
            if mark.points_mm != shared_points(first.points_mm, by_hand=by_hand):
                yield f"second_points_mm = [{', '.join(map(_point, mark.points_mm))}]"


def _site(fact: Fact, mark: Mark, lengths: list[Fact]) -> Iterator[str]:
    yield f"\n[[site]]\nname = {_text(fact.label)}\npoint_mm = {_point(mark.points_mm[0])}"
    if mark.normal is not None:
        yield f"normal = {_point(mark.normal)}"
    for key, concept_key in (("wall_mm", "site-wall"), ("height_mm", "site-height")):
        for length in lengths:
            if (length.concept, length.label) == (concept_key, fact.label):
                yield f"{key} = {length.value}"


def _obstacle(fact: Fact, mark: Mark) -> Iterator[str]:
    ends = ("from_mm", "to_mm") if len(mark.points_mm) == 2 else ("at_mm",)
    yield f"\n[[obstacle]]\nname = {_text(fact.label)}"
    yield f'kind = "{"capsule" if len(ends) == 2 else "sphere"}"'
    for key, point in zip(ends, mark.points_mm, strict=True):
        yield f"{key} = {_point(point)}"
    yield f"radius_mm = {float(mark.radius_mm or 0)!r}"
