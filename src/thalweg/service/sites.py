"""Candidate stoma sites: where marked, and what skin and wall are like there."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.measure.wall import wall_thickness
from thalweg.plan.reach.scene import defaults
from thalweg.plan.staging import MeasuredSite
from thalweg.record.concept import concept
from thalweg.record.plausible import canonical

if TYPE_CHECKING:
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Mark, Point
    from thalweg.service.images import Images

__all__ = ["measured_sites"]

MOVED_MM = 5.0
"""A mark farther than this from the measured skin is moved onto it, and that is said."""


def measured_sites(case: Case, images: Images) -> tuple[tuple[MeasuredSite, ...], list[str]]:
    """Return every marked site with its skin and wall, and why others could not be used.

    A wall, height or direction on record goes before what the image gives.
    """
    sites, problems = [], []
    for name in case.labels("stoma-site"):
        mark, chosen = case.mark("stoma-site", label=name)
        if mark is None or chosen.fact is None:
            problems.append(f"Site {name}: {chosen.caution}")
            continue
        try:
            sites.append(_site(case, images, name, mark, chosen.fact))
        except InputError as refused:
            problems.append(f"Site {name} was not used: {refused}")
    return tuple(sites), problems


def _triple(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Point:
    x, y, z = (float(value) for value in values)
    return x, y, z


def _site(case: Case, images: Images, name: str, mark: Mark, fact: Fact) -> MeasuredSite:
    point, normal, cautions = _on_skin(images, name, mark)
    wall, wall_sd, wall_facts, said = _wall(case, images, name, mark, point, normal)
    height, height_fact = _length(case, "site-height", name)
    cautions += said
    if height is None:
        height = float(defaults()["usual"]["height_mm"])
        cautions.append(f"Stoma height at {name} is not on record: taken as {height:.0f} mm.")
    facts = (fact, *wall_facts, *([height_fact] if height_fact else []))
    return MeasuredSite(
        name, point, normal, wall, wall_sd, height, facts=facts, cautions=tuple(cautions)
    )


def _on_skin(images: Images, name: str, mark: Mark) -> tuple[Point, Point, list[str]]:
    """Return the site on the measured skin and the skin's outward normal there."""
    marked = np.asarray(mark.points_mm[0], dtype=np.float64)
    try:
        skin = images.skin(mark.series_uid)
    except InputError as refused:
        return _as_marked(name, mark, refused)
    point = skin.point(marked[0], marked[2])
    cautions = list(skin.cautions)
    moved = float(np.linalg.norm(point - marked))
    if moved > MOVED_MM:
        cautions.append(
            f"The mark of {name} lay {moved:.0f} mm off the skin and was moved onto it."
        )
    normal = skin.normal(marked[0], marked[2])
    if mark.normal is not None:
        given = np.asarray(mark.normal, dtype=np.float64)
        normal = given / np.linalg.norm(given)
    return _triple(point), _triple(normal), cautions


def _as_marked(name: str, mark: Mark, refused: InputError) -> tuple[Point, Point, list[str]]:
    """Return a site as it was marked, where no image shows the skin but its direction was given."""
    if mark.normal is None:
        raise InputError(
            f"the skin was not found ({refused.what})",
            mend="give normal and wall_mm for this site in case.toml",
        )
    given = np.asarray(mark.normal, dtype=np.float64)
    said = f"The skin at {name} was not measured, so the site stands as marked: {refused}"
    return mark.points_mm[0], _triple(given / np.linalg.norm(given)), [said]


def _length(case: Case, key: str, name: str) -> tuple[float | None, Fact | None]:
    """Return a length recorded for a site, mm, and the fact."""
    chosen = case.latest(key, label=name)
    if chosen.fact is None or not isinstance(chosen.fact.value, Decimal):
        return None, None
    return canonical(concept(key), chosen.fact.value, chosen.fact.unit or ""), chosen.fact


def _wall(
    case: Case, images: Images, name: str, mark: Mark, point: Point, normal: Point
) -> tuple[float, float | None, tuple[Fact, ...], list[str]]:
    """Return the wall's thickness, its SD where measured, the facts behind it, and cautions.

    Raises
    ------
    InputError
        If nobody recorded it and the image does not show it: it is not guessed.
    """
    recorded, fact = _length(case, "site-wall", name)
    if recorded is not None and fact is not None:
        return recorded, None, (fact,), []
    found = wall_thickness(images.volume(mark.series_uid), point, normal)
    if found.thickness_mm is None:
        raise InputError(
            "the thickness of the abdominal wall cannot be told from the image",
            where=name,
            mend="give wall_mm for this site in case.toml",
        )
    return found.thickness_mm, found.sd_mm, (), list(found.cautions)
