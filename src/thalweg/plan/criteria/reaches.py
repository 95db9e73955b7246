"""The form of condition that only planning has: whether ureters reach; and what it is judged on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from thalweg.errors import InputError
from thalweg.evidence.conditions.form import Condition
from thalweg.evidence.conditions.reading import Form, known_keys

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.record.case import Chosen
    from thalweg.record.finding import Finding

__all__ = ["FORMS", "ReachGround", "Reaches", "RouteSummary", "Side", "Sites"]

Side = Literal["left", "right", "each"]
Sites = Literal["own", "shared", "apart"]

_SITES_SAID = {
    "own": "",
    "shared": " at one and the same site",
    "apart": " at two different sites",
}


@dataclass(frozen=True, slots=True)
class Reaches(Condition):
    """``{ reach = true, side = "each", sites = "shared" }``: ureters reach where they must.

    Parameters
    ----------
    side : "left", "right" or "each"
        Each: every kidney that the person has.
    sites : "own", "shared" or "apart"
        Whether two ureters may end anywhere, must end at one site, or at two different ones.
    needs : tuple of str
        Concepts that, beside the traced ureters, must be marked before reach can be computed.
    """

    side: Side
    sites: Sites
    needs: tuple[str, ...]

    def said(self) -> str:
        """Return for example ``each ureter reaches at one and the same site``."""
        if self.side == "each":
            return f"each ureter reaches{_SITES_SAID[self.sites]}"
        return f"the {self.side} ureter reaches"


def _read(row: Mapping[str, Any]) -> Reaches:
    side, sites = row.get("side", "each"), row.get("sites", "own")
    if row["reach"] is not True or side not in get_args(Side) or sites not in get_args(Sites):
        raise InputError(
            "a condition on reach is not of its form",
            mend='write { reach = true, side = "left", "right" or "each", '
            'sites = "own", "shared" or "apart" }',
        )
    return Reaches(cast("Side", side), cast("Sites", sites), known_keys(row, "needs"))


FORMS = {"reach": Form(_read, frozenset({"side", "sites", "needs"}))}
"""Forms of condition that the catalogue has beside the common ones."""


@dataclass(frozen=True, slots=True)
class RouteSummary:
    """Whether one ureter reaches one site in one diversion.

    Where two ureters share a stoma or a conduit, the routes of both carry the name of that
    shared place as `site`.

    Parameters
    ----------
    diversion : str
        Key of the catalogue.
    side : str
        ``"left"`` or ``"right"``: whose ureter.
    site : str
        Name of the candidate stoma, or of the base of the conduit.
    margin_mm : float
        Free length less required length, mm; negative: too short.
    margin_interval_mm : tuple of float
        Its 95 % interval, mm.
    probability_reaches : float
        Between 0 and 1.
    cautions : tuple of str
        Particular to this route, such as redundancy that would buckle. Each makes the option
        one to be taken with caution, so a method's standing cautions do not belong here.
    findings : tuple of Finding
        What the figures rest on.
    """

    diversion: str
    side: str
    site: str
    margin_mm: float
    margin_interval_mm: tuple[float, float]
    probability_reaches: float
    cautions: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class ReachGround:
    """Everything one diversion's reach is judged on.

    Parameters
    ----------
    kidneys : Chosen
        The fact ``kidneys-present``, or why none answers.
    routes : tuple of RouteSummary
        Those of this diversion only.
    any_routes : bool
        Whether reach was computed at all, for any diversion.
    least_margin_mm : float
        The margin that a ureter needs to count as reaching.
    """

    kidneys: Chosen
    routes: tuple[RouteSummary, ...]
    any_routes: bool
    least_margin_mm: float
