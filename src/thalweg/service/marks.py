"""Marks are tied to the series they were placed on, and must lie on it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.exchange.casefile.marks import COURSES, URETERS
from thalweg.exchange.casefile.second import SECONDS
from thalweg.record.fact import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.exchange.dicom import SeriesSurvey
    from thalweg.record.fact import Fact

__all__ = ["WITHOUT_IMAGES", "choose_series", "need_no_images", "require_inside", "tied"]

Named = tuple[str, str]

WITHOUT_IMAGES = (
    "No images came along: nothing could check that the marks lie on them, and calibre, skin and "
    "bone are not measured."
)
"""Said of marks that stand alone, as where the series could not be read."""


def need_no_images(facts: Sequence[Fact]) -> bool:
    """Say whether marks can stand without images: every ureter's course was placed by hand."""
    marked = {fact.concept for fact in facts if isinstance(fact.value, Mark)}
    traced = {*URETERS.values(), *SECONDS.values()}
    return not marked & traced and bool(marked & set(COURSES.values()))


def choose_series(wanted: str, here: Sequence[Named], on_record: Sequence[Named]) -> str:
    """Return the series that a case file's marks lie on.

    Parameters
    ----------
    wanted : str
        The folder that the case file names; empty where it names none.
    here, on_record : sequence of (str, str)
        Folder and Series Instance UID of the images that came along, and of those there before.

    Raises
    ------
    InputError
        If there is none, or if it is not said which of several is meant.
    """
    for known in (here, on_record):
        meant = {uid: folder for folder, uid in known if wanted in ("", folder)}
        if len(meant) == 1:
            return next(iter(meant))
        if meant:
            raise InputError(
                f"there are marks, but {len(meant)} series ({', '.join(sorted(meant.values()))})",
                mend="name the one they lie on, folder = …, or add only that one",
            )
    what = f"the marks lie on images in {wanted!r}" if wanted else "there are marks"
    raise InputError(f"{what}, but no such images came along", mend="add the folder of the series")


def tied(facts: Sequence[Fact], series_uid: str) -> tuple[Fact, ...]:
    """Return the facts with every mark naming its series."""
    return tuple(
        replace(fact, value=replace(fact.value, series_uid=series_uid))
        if isinstance(fact.value, Mark)
        else fact
        for fact in facts
    )


def require_inside(fact: Fact, series: SeriesSurvey) -> None:
    """Refuse a mark beside its images: it belongs to others, or its axes are not LPS.

    An obstacle may reach beyond them, as the aorta does.

    Raises
    ------
    InputError
        Names the mark.
    """
    if not isinstance(fact.value, Mark) or fact.concept == "obstacle":
        return
    from_lps = np.linalg.inv(series.to_lps)
    points = np.asarray(fact.value.points_mm)
    index = points @ from_lps[:3, :3].T + from_lps[:3, 3]
    outside = ((index < -0.5) | (index > np.asarray(series.shape) - 0.5)).any(axis=1)
    if outside.any():
        label = f" {fact.label!r}" if fact.label else ""
        raise InputError(
            f"{fact.concept}{label} lies outside its images ({int(outside.sum())} of "
            f"{len(points)} points)",
            where=fact.origin.place,
            mend="give it in LPS millimetres (x to the left, y to the back, z to the head)",
        )
