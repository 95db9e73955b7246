"""What would bring a short ureter further: another site, a lower division, a higher pivot."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.plan.nearest.step import Lever
from thalweg.plan.reach.diversions import TRANSURETERO, Leg, legs
from thalweg.plan.reach.scene import defaults
from thalweg.plan.reach.solve import Solver

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from thalweg.plan.criteria.reaches import RouteSummary
    from thalweg.plan.reach import Scene, Ureter

__all__ = ["Levers"]

PIVOT_STEPS = 3
HALVINGS = 5
"""Of the last step, to find how little the pivot need be moved."""


@dataclass(frozen=True)
class Levers:
    """Finds the levers of a person's routes.

    Parameters
    ----------
    routes : sequence of RouteSummary
        All that were computed.
    scene : Scene or None
        On which; without it only other sites are known.
    least_margin_mm : float
        That a ureter needs to count as reaching.
    """

    routes: Sequence[RouteSummary]
    scene: Scene | None
    least_margin_mm: float

    def __call__(self, route: RouteSummary, lack_mm: float) -> tuple[Lever, ...]:
        """Return the levers of a route that lacks so many mm, those that are enough first."""
        found = [*self._sites(route), *self._division(route, lack_mm)]
        if not any(one.kind == "division" and one.enough for one in found):
            found += self._pivot(route)
        return tuple(sorted(found, key=lambda one: not one.enough))

    def _sites(self, route: RouteSummary) -> Iterator[Lever]:
        """Yield each other place to which this ureter has less to go in this diversion."""
        for other in self.routes:
            alike = (other.diversion, other.side) == (route.diversion, route.side)
            gain = other.margin_mm - route.margin_mm
            if not alike or other.site == route.site or gain <= 0:
                continue
            low, high = other.margin_interval_mm
            yield Lever(
                "site",
                f"the site '{other.site}' gives {gain:.0f} mm more: margin "
                f"{other.margin_mm:.0f} mm ({low:.0f} to {high:.0f})",
                other.margin_mm,
                other.margin_mm >= self.least_margin_mm,
                site=other.site,
            )

    def _ureter(self, route: RouteSummary) -> Ureter | None:
        ureters = () if self.scene is None else self.scene.ureters
        return next((one for one in ureters if one.side == route.side), None)

    def _division(self, route: RouteSummary, lack_mm: float) -> Iterator[Lever]:
        """Yield how far down the ureter would have to be cut: the margin grows by as much."""
        ureter = self._ureter(route)
        if ureter is None:
            return
        room = max(ureter.line.length - ureter.division_mm, 0.0)
        if room < 1.0:
            return
        move = min(lack_mm, room)
        margin = route.margin_mm + move
        enough = margin >= self.least_margin_mm
        verb = "is enough" if enough else f"leaves a margin of {margin:.0f} mm, too short still"
        says = (
            f"a division {move:.0f} mm further down {verb} (the traced ureter goes on for "
            f"{room:.0f} mm, which must be sound)"
        )
        yield Lever("division", says, margin, enough, move, room)

    def _pivot(self, route: RouteSummary) -> Iterator[Lever]:
        """Yield how far up the ureter would have to be freed beyond the lower pole."""
        ureter = self._ureter(route)
        if ureter is None or route.diversion == TRANSURETERO:
            return
        room = min(float(defaults()["levers"]["pivot_up_mm"]), ureter.pivot_mm)
        if room < 1.0:
            return
        margins = {0.0: route.margin_mm}
        step = room / PIVOT_STEPS
        low = high = 0.0
        for number in range(1, PIVOT_STEPS + 1):
            margin = self._margin(route, ureter, number * step)
            if margin is None:
                break
            margins[number * step] = margin
            low, high = (number - 1) * step, number * step
            if margin >= self.least_margin_mm:
                break
        move = max(margins, key=lambda one: margins[one])
        if margins[move] <= route.margin_mm:
            return
        if high and margins.get(high, -1e9) >= self.least_margin_mm:
            move = self._least(route, ureter, low, high, margins)
        margin = margins[move]
        enough = margin >= self.least_margin_mm
        says = (
            f"freed {move:.0f} mm further up "
            + ("it reaches" if enough else f"it has a margin of {margin:.0f} mm, too short still")
            + ", if its blood supply allows"
        )
        yield Lever("pivot", says, margin, enough, move, room)

    def _least(
        self,
        route: RouteSummary,
        ureter: Ureter,
        low: float,
        high: float,
        margins: dict[float, float],
    ) -> float:
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            margin = self._margin(route, ureter, middle)
            if margin is not None and margin >= self.least_margin_mm:
                high, margins[middle] = middle, margin
            else:
                low = middle
        return high

    def _margin(self, route: RouteSummary, ureter: Ureter, up_mm: float) -> float | None:
        """Return the margin with the pivot moved up, solved anew; None where there is no route."""
        if self.scene is None:
            return None
        moved = replace(ureter, pivot_mm=ureter.pivot_mm - up_mm)
        others = tuple(one for one in self.scene.ureters if one.side != ureter.side)
        try:
            scene = replace(self.scene, ureters=(moved, *others))
        except InputError:
            return None
        for leg in legs(scene, route.diversion):
            if not isinstance(leg, Leg):
                continue
            if (leg.ureter.side, leg.site.name) == (route.side, route.site):
                path = Solver(scene).path(leg)
                return None if path is None else moved.free_mm - path.length_mm - leg.beyond_mm()
        return None
