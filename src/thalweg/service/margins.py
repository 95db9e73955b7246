"""The map of margins of a person: every place on the front, each ureter, and both to one stoma."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.errors import InputError
from thalweg.plan.reach import margin_map
from thalweg.plan.reach.front import FrontMap
from thalweg.plan.reach.odds import odds_of
from thalweg.plan.staging import MeasuredSite, staged
from thalweg.progress import silent
from thalweg.record.fact import Mark
from thalweg.service.front import front_grid
from thalweg.service.images import Images
from thalweg.service.obstacles import obstacles_for
from thalweg.service.sites import measured_sites
from thalweg.service.ureters import traced_ureters
from thalweg.sheets.pictures.margin_map import Landmarks, margin_file, margin_picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from thalweg.measure.obstacles import FoundObstacles
    from thalweg.plan.reach.odds import SiteOdds
    from thalweg.plan.staging import FreedUreter
    from thalweg.progress import Progress
    from thalweg.record.case import Case
    from thalweg.sheets.document import Picture
    from thalweg.store.store import Store

__all__ = ["LEAST_STEP_MM", "MAP_STEP_MM", "MOST_STEP_MM", "PersonMap", "map_margins", "map_of"]

MAP_STEP_MM = 10.0
LEAST_STEP_MM, MOST_STEP_MM = 5.0, 30.0

CAUTIONS = (
    (
        "Margin alone does not make a site: folds, belt line, scars, hernias, bone and what the "
        "person can see and reach come with it. Try every site lying, sitting, standing, bending."
    ),
    (
        "The map is of a ureter brought to the skin. Where one ureter joins the other, or both "
        "join a bowel conduit, it says nothing of that bowel or of the joined ureter."
    ),
    (
        "Where a ureter crosses the midline the mesentery is not in the model; two ureters in one "
        "stoma are both led to its middle."
    ),
)


@dataclass(frozen=True, eq=False)
class PersonMap:
    """A map of margins, and what a picture of it needs.

    Parameters
    ----------
    front : FrontMap
    marked : tuple of MeasuredSite
        Candidate sites that a person marked.
    landmarks : Landmarks
        For the picture.
    phantom : bool
    taken : str
        Day of the images, ISO 8601.
    """

    front: FrontMap
    marked: tuple[MeasuredSite, ...]
    landmarks: Landmarks
    phantom: bool
    taken: str

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        front = self.front
        rows = [f"{len(front.sites.point)} places mapped, on the images of {self.taken}."]
        for view in front.views:
            counts = front.counts(view)
            told = ", ".join(f"{state} at {count}" for state, count in counts.items() if count)
            rows.append(f"{_named(view)}: {told}.")
            best = front.best(view)
            if best is not None:
                x, y, z = front.sites.point[best]
                rows.append(
                    f"  most to spare: {view.margin_mm[best]:.0f} mm at {x:.0f}, {y:.0f}, {z:.0f} "
                    f"(LPS mm), reaches in {100 * view.probability[best]:.0f} %"
                )
        return [*rows, *(f"! {caution}" for caution in front.cautions)]

    def picture(self) -> Picture:
        """Return the map as a picture for documents."""
        return margin_picture(self.front, self.landmarks, phantom=self.phantom)

    def picture_file(self, kind: str) -> bytes:
        """Return the map as a file: ``"svg"``, ``"png"`` or ``"pdf"``."""
        return margin_file(self.front, self.landmarks, kind, phantom=self.phantom)

    def summary(self) -> dict[str, Any]:
        """Return what a plan says of the map: the best of each, counts, cautions; mm."""
        whole = self.to_json()
        return {
            key: whole[key] for key in ("step_mm", "images_taken", "best", "counts", "cautions")
        }

    def to_json(self) -> dict[str, Any]:
        """Return every site with its margins, and the best of each; lengths in mm."""
        front = self.front
        return {
            "step_mm": float(front.x_mm[1] - front.x_mm[0]),
            "images_taken": self.taken,
            "sites": [self._site(row) for row in range(len(front.sites.point))],
            "not_known_xz_mm": [
                [float(front.x_mm[i]), float(front.z_mm[j])] for i, j in np.argwhere(front.unknown)
            ],
            "best": {view.whose: self._best(view) for view in front.views},
            "counts": {view.whose: front.counts(view) for view in front.views},
            "zero_line_xz_mm": {
                view.whose: [line.tolist() for line in front.zero_line(view)]
                for view in front.views
            },
            "cautions": list(front.cautions),
        }

    def _best(self, view: SiteOdds) -> dict[str, Any] | None:
        row = self.front.best(view)
        return None if row is None else {**self._place(row), **_told(view, row)}

    def _place(self, row: int) -> dict[str, Any]:
        sites = self.front.sites
        return {
            "point_mm": sites.point[row].tolist(),
            "normal": sites.normal[row].tolist(),
            "wall_mm": float(sites.wall_mm[row]),
            "height_mm": float(sites.height_mm[row]),
        }

    def _site(self, row: int) -> dict[str, Any]:
        masks = [
            mask.name for mask in self.front.masks if (mask.where & (self.front.row == row)).any()
        ]
        views = {view.whose: _told(view, row) for view in self.front.views}
        return {**self._place(row), "against_it": masks, "ureters": views}

    def table(self) -> bytes:
        """Return the sites as CSV in UTF-8, one row each; lengths in mm."""
        made = io.StringIO()
        views = self.front.views
        told = (
            "margin_mm",
            "margin_at_most_mm",
            "margin_at_least_mm",
            "probability_reaches",
            "state",
        )
        names = [f"{view.whose}_{key}" for view in views for key in told]
        writer = csv.writer(made, lineterminator="\r\n")
        writer.writerow(("x_mm", "y_mm", "z_mm", "wall_mm", "height_mm", "against_it", *names))
        for row in range(len(self.front.sites.point)):
            site = self._site(row)
            place = [*site["point_mm"], site["wall_mm"], site["height_mm"]]
            cells = [site["ureters"][view.whose][key] for view in views for key in told]
            writer.writerow(
                [
                    *(f"{value:.1f}" for value in place),
                    "; ".join(site["against_it"]),
                    *(
                        "" if v is None else f"{v:.3f}" if isinstance(v, float) else v
                        for v in cells
                    ),
                ]
            )
        return made.getvalue().encode()


def _named(view: SiteOdds) -> str:
    return "Both ureters to one stoma" if view.whose == "both" else f"{view.whose.title()} ureter"


def _told(view: SiteOdds, row: int) -> dict[str, Any]:
    """Return margin, probability and state at a site; a bound never stands as a margin."""
    margin = float(view.margin_mm[row])
    above, below = bool(view.at_most[row]), bool(view.at_least[row])
    known = bool(np.isfinite(margin))
    return {
        "margin_mm": margin if known and not (above or below) else None,
        "margin_at_most_mm": margin if known and above else None,
        "margin_at_least_mm": margin if known and below else None,
        "probability_reaches": float(view.probability[row]) if known else None,
        "state": view.states()[row],
    }


def map_of(
    case: Case,
    images: Images,
    ureters: Sequence[FreedUreter],
    marked: Sequence[MeasuredSite],
    *,
    found: FoundObstacles | None = None,
    step_mm: float = MAP_STEP_MM,
    progress: Progress = silent,
) -> PersonMap:
    """Return the map of margins on the image that the ureters were traced on.

    Parameters
    ----------
    case : Case
    images : Images
    ureters : sequence of FreedUreter
        At least one.
    marked : sequence of MeasuredSite
        Marked candidate sites; may be empty.
    found : FoundObstacles, optional
        Bone and vessels that were already found on the image.
    step_mm : float
        Spacing of the places.
    progress : Progress

    Raises
    ------
    InputError
        If the skin or wall cannot be found, or a mark lies inside an obstacle.
    """
    mark = next((f.value for f in ureters[0].facts if isinstance(f.value, Mark)), None)
    series = "" if mark is None else mark.series_uid
    volume, skin = images.volume(series), images.skin(series)
    grid = front_grid(volume, skin, ureters, marked, step_mm=step_mm, progress=progress)
    around = [*marked, *_corners(grid.sites.point, grid.sites.normal, grid.sites.wall_mm)]
    obstacles = obstacles_for(case, images, ureters, around, found=found, progress=progress)
    scene = staged(tuple(ureters), (), obstacles.marks)
    mapped = margin_map(scene, grid.sites, progress=progress)
    views = odds_of(scene, mapped)
    umbilicus, _ = case.mark("umbilicus")
    front = FrontMap(
        grid.x_mm,
        grid.z_mm,
        grid.row,
        grid.unknown,
        grid.sites,
        views,
        (grid.bone,),
        tuple(
            dict.fromkeys(
                (*CAUTIONS, *_loose(views), *grid.cautions, *obstacles.cautions, *scene.cautions)
            )
        ),
    )
    return PersonMap(
        front,
        tuple(marked),
        Landmarks(
            tuple((site.name, site.point_mm[0], site.point_mm[2]) for site in marked),
            None if umbilicus is None else (umbilicus.points_mm[0][0], umbilicus.points_mm[0][2]),
            grid.outline,
            grid.bone_seen,
        ),
        volume.phantom,
        volume.acquired[:10] or "an unknown day",
    )


def _loose(views: Sequence[SiteOdds]) -> tuple[str, ...]:
    """Return what must be said where some margins are only known to be at least so much."""
    count = max(int(view.at_least.sum()) for view in views)
    if not count:
        return ()
    said = (
        f"At {count} places close to where a ureter is held, a clear route was found but not "
        "proved the shortest: the margin there may be greater than shown."
    )
    return (said,)


def _corners(
    points: NDArray[np.float64], normals: NDArray[np.float64], walls: NDArray[np.float64]
) -> list[MeasuredSite]:
    """Return the outermost places as sites, so that obstacles are looked for as far as they."""
    rows = {int(pick(points[:, axis])) for axis in (0, 2) for pick in (np.argmin, np.argmax)}
    sites = []
    for row in sorted(rows):
        x, y, z = (float(value) for value in points[row])
        a, b, c = (float(value) for value in normals[row])
        name = f"edge of the map at {x:.0f}, {z:.0f}"
        sites.append(MeasuredSite(name, (x, y, z), (a, b, c), float(walls[row]), None, 0.0))
    return sites


def map_margins(
    case: Case,
    store: Store,
    *,
    at: date,
    step_mm: float = MAP_STEP_MM,
    progress: Progress = silent,
) -> PersonMap:
    """Trace a case's ureters and map their margins.

    Parameters
    ----------
    case : Case
        As known on the day.
    store : Store
    at : date
    step_mm : float
        Between `LEAST_STEP_MM` and `MOST_STEP_MM`.
    progress : Progress

    Raises
    ------
    InputError
        If no ureter could be traced and freed, or anything the map needs cannot be found.
    """
    if not LEAST_STEP_MM <= step_mm <= MOST_STEP_MM:
        raise InputError(
            f"a step of {step_mm:g} mm cannot be taken",
            where="--step",
            mend=f"give {LEAST_STEP_MM:g} to {MOST_STEP_MM:g} mm",
        )
    images = Images(case, store, progress)
    traced = traced_ureters(case, images, draw=None, at=at, progress=progress)
    freed = tuple(one.freed for one in traced if one.freed is not None)
    if not freed:
        why = "; ".join(one.problem for one in traced if one.problem) or "no ureter is marked"
        raise InputError(
            f"no ureter could be traced and freed on paper ({why.rstrip('.')})",
            mend="mark the ureters and the lower poles of their kidneys in case.toml",
        )
    marked, _ = measured_sites(case, images)
    return map_of(case, images, freed, marked, step_mm=step_mm, progress=progress)
