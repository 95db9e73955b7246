"""Judge whether each ureter reaches where a diversion needs it."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

from thalweg.evidence.conditions.ground import Judged, all_of_judged, any_of_judged
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from thalweg.plan.criteria.reaches import Reaches, ReachGround, RouteSummary, Sites

__all__ = ["judge_reach", "places"]

_BOTH = ("left", "right")
_NO = Truth.NOT_MET


def judge_reach(condition: Reaches, ground: ReachGround) -> Judged:
    """Return whether the ureters of the kidneys present reach, at the best choice of sites.

    Parameters
    ----------
    condition : Reaches
        Whose ureters, and whether they must share a site or may not.
    ground : ReachGround
        Holds the routes computed for the diversion in question.
    """
    asked_of = _BOTH if condition.side == "each" else (condition.side,)
    if all(_present(side, ground) is _NO for side in asked_of):
        kidneys = ground.kidneys.fact
        return Judged(
            Truth.NOT_MET,
            facts=() if kidneys is None else (kidneys,),
            would_open="needs a kidney there that makes urine",
        )
    if not ground.any_routes:
        needed = tuple(f"ureter-{side}" for side in asked_of if _present(side, ground) is not _NO)
        return Judged(
            Truth.NOT_KNOWN,
            missing=(*needed, *(condition.needs or ("stoma-site",))),
            doubts=("Reach has not been computed: trace the ureters on the images.",),
        )
    if condition.side != "each":
        return _of_sides((condition.side,), condition, ground)
    sides = tuple(side for side in _BOTH if _present(side, ground) is not _NO)
    judged = _of_sides(sides, condition, ground)
    return replace(judged, facts=() if ground.kidneys.fact is None else (ground.kidneys.fact,))


def _present(side: str, ground: ReachGround) -> Truth:
    fact = ground.kidneys.fact
    return Truth.of(None if fact is None else fact.value in ("both", f"{side} only"))


def places(condition: Reaches, ground: ReachGround) -> tuple[tuple[RouteSummary, ...], ...]:
    """Return each permitted choice of one route per ureter that must reach.

    Parameters
    ----------
    condition : Reaches
    ground : ReachGround
    """
    asked = _BOTH if condition.side == "each" else (condition.side,)
    sides = tuple(side for side in asked if _present(side, ground) is not _NO)
    return tuple(_choices(_by_side(sides, ground), condition.sites)) if sides else ()


def _by_side(sides: tuple[str, ...], ground: ReachGround) -> dict[str, dict[str, RouteSummary]]:
    by_side: dict[str, dict[str, RouteSummary]] = {side: {} for side in sides}
    for route in ground.routes:
        if route.side in by_side:
            by_side[route.side][route.site] = route
    return by_side


def _of_sides(sides: tuple[str, ...], condition: Reaches, ground: ReachGround) -> Judged:
    by_side = _by_side(sides, ground)
    without = tuple(side for side in sides if not by_side[side])
    if without:
        return _without_routes(without, condition, ground)
    choices = list(_choices(by_side, condition.sites))
    if not choices:
        doubt = "No site was tried for both ureters together: mark another candidate site."
        return Judged(Truth.NOT_KNOWN, missing=("stoma-site",), doubts=(doubt,))
    judged = [
        all_of_judged(_one(route, condition, ground) for route in chosen) for chosen in choices
    ]
    return _best(judged, choices)


def _without_routes(sides: Iterable[str], condition: Reaches, ground: ReachGround) -> Judged:
    missing: list[str] = []
    doubts = []
    for side in sides:
        missing.append(f"ureter-{side}")
        doubts.append(f"No route of the {side} ureter was computed: trace it on the images.")
        if condition.side == "each" and _present(side, ground) is Truth.NOT_KNOWN:
            missing.append("kidneys-present")
    return Judged(
        Truth.NOT_KNOWN,
        missing=(*dict.fromkeys(missing), *condition.needs),
        doubts=tuple(doubts),
    )


def _choices(
    by_side: Mapping[str, Mapping[str, RouteSummary]], sites: Sites
) -> Iterator[tuple[RouteSummary, ...]]:
    """Yield each permitted choice of one route per side, in a fixed order."""
    for chosen in product(*(routes.values() for routes in by_side.values())):
        different = len({route.site for route in chosen})
        if sites == "shared" and different > 1:
            continue
        if sites == "apart" and different < len(chosen):
            continue
        yield chosen


def _one(route: RouteSummary, condition: Reaches, ground: ReachGround) -> Judged:
    low, high = route.margin_interval_mm
    where = f"the {route.side} ureter at '{route.site}'"
    figures = f"margin {route.margin_mm:.0f} mm ({low:.0f} to {high:.0f})"
    if low >= ground.least_margin_mm:
        return Judged(Truth.MET, findings=route.findings, doubts=route.cautions)
    if high >= ground.least_margin_mm:
        doubt = (
            f"Whether it reaches could go either way for {where}: {figures}, "
            f"probability {route.probability_reaches:.2f}."
        )
        return _if_present(
            route.side,
            Judged(
                Truth.NOT_KNOWN,
                findings=route.findings,
                missing=condition.needs or ("stoma-site",),
                doubts=(doubt, *route.cautions),
            ),
            condition,
            ground,
        )
    lack = ground.least_margin_mm - route.margin_mm
    failing = Judged(
        Truth.NOT_MET,
        findings=route.findings,
        would_open=f"needs {lack:.0f} mm more for {where}, or a nearer place; now {figures}",
        doubts=route.cautions,
    )
    return _if_present(route.side, failing, condition, ground)


def _if_present(side: str, judged: Judged, condition: Reaches, ground: ReachGround) -> Judged:
    """Return the judgement of a ureter that counts only if its kidney is there."""
    if condition.side != "each" or _present(side, ground) is Truth.MET:
        return judged
    absent = Judged(Truth.NOT_KNOWN, missing=("kidneys-present",))
    return any_of_judged((judged, absent))


def _best(judged: list[Judged], choices: list[tuple[RouteSummary, ...]]) -> Judged:
    """Return the judgement of the best choice of sites: one that reaches is enough."""
    truth = any_of_judged(judged).truth

    def preference(index: int) -> tuple[int, float, float, int]:
        chosen = choices[index]
        likeliest = min(route.probability_reaches for route in chosen)
        margin = min(route.margin_mm for route in chosen)
        doubts = len(judged[index].doubts) if truth is Truth.MET else 0
        return (-doubts, likeliest, margin, -index)

    holders = [index for index, one in enumerate(judged) if one.truth is truth]
    return judged[max(holders, key=preference)]
