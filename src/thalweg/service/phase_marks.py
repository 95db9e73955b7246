"""Marks of a second phase at intake: tied to their own series, which must be another phase."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.exchange.casefile.marks import COURSES, URETERS
from thalweg.exchange.casefile.second import SECONDS, shared_points
from thalweg.record.fact import Mark
from thalweg.service.marks import require_inside

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.exchange.dicom import PatientKeys, SeriesSurvey
    from thalweg.record.fact import Fact

__all__ = ["phases_apart", "require_phase", "second_series", "shares_points"]

Named = tuple[str, str]

PLACE_THEM: Final = "place the points on the second phase, second_points_mm = [[x, y, z], …]"


def phases_apart(facts: Sequence[Fact]) -> tuple[tuple[Fact, ...], tuple[Fact, ...]]:
    """Return all facts but the marks of a second phase, and those marks."""
    seconds = tuple(fact for fact in facts if fact.concept in SECONDS.values())
    return tuple(fact for fact in facts if fact not in seconds), seconds


def second_series(
    mark: Fact, first_uid: str, here: Sequence[Named], on_record: Sequence[Named]
) -> str:
    """Return the series that a second phase's mark lies on.

    Parameters
    ----------
    mark : Fact
        Its Mark holds the folder's name in the series' place.
    first_uid : str
        Series of the other marks.
    here, on_record : sequence of (str, str)
        Folder and Series Instance UID of the images that came along, and of those there before.

    Raises
    ------
    InputError
        If there is no such folder, several series on record came in one of that name, or it is
        the series of the first phase.
    """
    assert isinstance(mark.value, Mark)  # noqa: S101 - marks of a second phase are read as such
    wanted = mark.value.series_uid
    for known in (here, on_record):
        meant = {uid for folder, uid in known if folder == wanted}
        if meant == {first_uid}:
            raise InputError(
                f"{wanted!r} is the series of the first phase",
                mend="name the folder of another phase, or leave 'second' out",
            )
        if len(meant) == 1:
            return meant.pop()
        if meant:
            raise InputError(
                f"{len(meant)} series on record came in a folder {wanted!r}",
                mend="add the one that is meant to the case folder",
            )
    raise InputError(
        f"the second phase lies on images in {wanted!r}, but no such images came along",
        mend="add the folder of the series",
    )


def require_phase(
    mark: Fact, firsts: Sequence[Fact], *, first: SeriesSurvey, second: SeriesSurvey
) -> list[str]:
    """Refuse a series that cannot be another phase of the first, or points that lie beside it.

    Parameters
    ----------
    mark : Fact
        Of the second phase.
    firsts : sequence of Fact
        The marks of the first.
    first, second : SeriesSurvey

    Returns
    -------
    list of str
        What a person should look into.

    Raises
    ------
    InputError
        If the series name different persons, if the first phase's points are used although the
        series have different frames of reference, or if a point lies outside the series.
    """
    assert isinstance(mark.value, Mark)  # noqa: S101 - as above
    folder = mark.value.series_uid
    if _other_person(first.patient, second.patient):
        raise InputError(
            f"the images in {folder!r} name another person than those of the first phase "
            "(number, birth date or sex)",
            mend="find out whose they are; nothing was taken in",
        )
    same = any(shares_points(mark, fact) for fact in firsts)
    known = bool(first.frame_uid and second.frame_uid)
    if same and known and first.frame_uid != second.frame_uid:
        raise InputError(
            f"the images in {folder!r} have another frame of reference than those of the first "
            "phase, so that the same points mean other places",
            mend=PLACE_THEM,
        )
    try:
        require_inside(mark, second)
    except InputError as refused:
        mend = PLACE_THEM if same else refused.mend
        raise InputError(refused.what, mend=mend) from refused
    questions = []
    if same and not known:
        questions.append(
            f"Images in {folder!r} or those of the first phase name no frame of reference: the "
            "same points were taken to mean the same places."
        )
    day, other = first.acquired[:10], second.acquired[:10]
    if day and other and day != other:
        questions.append(
            f"The first phase was acquired on {day}, the second on {other}: make sure that they "
            "belong together."
        )
    return questions


def shares_points(second: Fact, first: Fact) -> bool:
    """Say whether a second phase's points are those of the first."""
    by_hand = first.concept in COURSES.values()
    if not by_hand and first.concept not in URETERS.values():
        return False
    one, other = first.value, second.value
    if not isinstance(one, Mark) or not isinstance(other, Mark):
        return False
    return other.points_mm == shared_points(one.points_mm, by_hand=by_hand)


def _other_person(one: PatientKeys, other: PatientKeys) -> bool:
    pairs = (
        (one.patient_id, other.patient_id),
        (one.birth_date, other.birth_date),
        (one.sex, other.sex),
    )
    return any(mine and theirs and mine != theirs for mine, theirs in pairs)
