"""How sure the margins of a map are: the same doubts and the same draws as for a single route."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from thalweg.plan.reach.doubt import DOUBTS, deviations, draws_of, freed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.map_types import MarginMap, SideMargins, SiteGrid
    from thalweg.plan.reach.scene import Scene, Side

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["HARDLY", "STATES", "SURELY", "SiteOdds", "Whose", "odds_of"]

Whose = Literal["left", "right", "both"]

SURELY, HARDLY = 0.975, 0.025
"""From the first on a ureter reaches, below the second it does not: where the central 95 % of the
margin lies wholly on one side of nought, as for a single route."""
STATES = ("reaches", "uncertain", "short", "no route found")
WORST_SLOPE = 1.0
"""Where a route has no straight stretch to read its pull from, it is taken to need a millimetre
more for each of pivot and wall: that makes the doubt larger, never smaller."""
WALL = DOUBTS.index("wall")
BLOCK = 128
"""Sites handled at once, to bound memory."""


@dataclass(frozen=True, eq=False)
class SiteOdds:
    """Margins and odds over the sites of a map, for one ureter or for both to one stoma.

    Parameters
    ----------
    whose : {'left', 'right', 'both'}
    margin_mm : ndarray, shape (n,), mm
        Not a number where no route was found. For both: the lesser of the two.
    at_most : ndarray of bool, shape (n,)
        Where the margin is not solved but proved to be no more than `margin_mm`.
    at_least : ndarray of bool, shape (n,)
        Where the site lies so close to the pivot that a clear route was found but not proved the
        shortest: the true margin may be greater.
    probability : ndarray, shape (n,)
        Share of samples whose margin is not negative; at most that, where `at_most`; at least
        that, where `at_least`.
    """

    whose: Whose
    margin_mm: Floats
    at_most: Flags
    at_least: Flags
    probability: Floats

    @property
    def state(self) -> NDArray[np.int64]:
        """Index into `STATES` at every site, shape (n,)."""
        lost = np.isnan(self.margin_mm)
        sure, hardly = self.probability >= SURELY, self.probability <= HARDLY
        return np.asarray(np.select([lost, sure, hardly], [3, 0, 2], default=1))

    def states(self) -> list[str]:
        """Return the state of every site in words."""
        return [STATES[index] for index in self.state]


def odds_of(scene: Scene, found: MarginMap) -> tuple[SiteOdds, ...]:
    """Return margins and odds of each ureter, and of both to one site where there are two.

    Parameters
    ----------
    scene : Scene
        The one the map was made of.
    found : MarginMap

    Notes
    -----
    Each ureter's samples are those that a single route draws. For both, the wall is one and its
    draws are shared; tracing, pivot, trim and stretch of the two are independent.
    """
    draws = draws_of(scene)
    views = [_view(scene, found.sites, (item,), (draws,)) for item in found.ureters]
    odds = [view.probability for view in views]
    if len(found.ureters) > 1:
        other = np.random.default_rng([scene.seed, 1]).standard_normal(draws.shape)
        other[:, WALL] = draws[:, WALL]
        both = _view(scene, found.sites, found.ureters, (draws, other))
        # Chance in the second ureter's own draws must not let both reach oftener than one.
        views.append(replace(both, probability=np.min([both.probability, *odds], axis=0)))
    return tuple(views)


def _view(
    scene: Scene, sites: SiteGrid, items: tuple[SideMargins, ...], draws: tuple[Floats, ...]
) -> SiteOdds:
    count = len(sites.point)
    probability = np.empty(count)
    for rows in np.array_split(np.arange(count), count // BLOCK + 1):
        held = np.ones((len(draws[0]), len(rows)), dtype=bool)
        for item, drawn in zip(items, draws, strict=True):
            held &= _sampled(scene, sites, item, drawn, rows) >= 0
        probability[rows] = held.mean(axis=0)
    margin = np.min([item.most_mm for item in items], axis=0)
    probability[np.isnan(margin)] = np.nan
    whose: Side | Literal["both"] = items[0].side if len(items) == 1 else "both"
    # Of two, the lesser margin is exact unless the lesser is itself a bound.
    lesser = np.argmin([np.nan_to_num(item.most_mm, nan=-np.inf) for item in items], axis=0)
    own = lesser, np.arange(count)
    bound = np.array([item.hopeless for item in items])[own]
    loose = np.array([~(item.exact | item.hopeless | item.unreached) for item in items])[own]
    return SiteOdds(whose, margin, bound, loose, probability)


def _sampled(
    scene: Scene, sites: SiteGrid, item: SideMargins, draws: Floats, rows: NDArray[np.intp]
) -> Floats:
    """Return samples of the margin, (samples, rows) mm."""
    ureter = scene.ureter(item.side)
    assert ureter is not None  # noqa: S101 - the map was made of this scene
    deviation = deviations(scene, ureter)
    free, pivot = freed(ureter, draws * deviation)
    spread = deviation[WALL] if sites.wall_sd_mm is None else sites.wall_sd_mm[rows]
    wall = np.maximum(draws[:, WALL, None] * spread, -sites.wall_mm[rows])
    required = item.free_mm - item.most_mm[rows]
    by_pivot, by_wall = (
        np.where(np.isfinite(slope), slope, WORST_SLOPE)[rows]
        for slope in (item.pivot_slope, item.wall_slope)
    )
    return np.asarray(free[:, None] - required - by_pivot * pivot[:, None] - by_wall * wall)
