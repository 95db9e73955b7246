"""Which ureter goes where in each diversion: the topology of the routes, no geometry."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.problem import Question

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.reach.scene import Conduit, Scene, Side, Site, Ureter

    Floats = NDArray[np.float64]

__all__ = [
    "CONDUITS",
    "DIVERSIONS",
    "NO_PASSAGE",
    "TRANSURETERO",
    "Leg",
    "Missing",
    "allowed",
    "legs",
    "passing",
]

TRANSURETERO = "transuretero-cutaneous"
CONDUITS = ("ileal-conduit", "colon-conduit")
DIVERSIONS = (
    "cutaneous-single",
    "cutaneous-bilateral",
    "cutaneous-double-barrel",
    TRANSURETERO,
    *CONDUITS,
)
NO_PASSAGE = (
    "The left ureter's passage behind the sigmoid mesentery was not marked: the route shown is the "
    "straightest, so that the required length is the least it can be, and margin and probability "
    "of reaching are the most they can be."
)
RIGHT_CROSSES = "The right ureter crosses the midline; the mesentery is not in the model."
SIDES: tuple[Side, Side] = ("left", "right")
OTHER: dict[Side, Side] = {"left": "right", "right": "left"}


@dataclass(frozen=True, eq=False)
class Leg:
    """One ureter's way in one diversion.

    Parameters
    ----------
    diversion : str
    ureter : Ureter
    site : Site
        The stoma it serves.
    base : ndarray, shape (3,), or None
        Where it ends inside the body, mm; None where it crosses the wall to the skin.
    via : ndarray, shape (3,), or None
        A place it passes through, mm.
    cautions : tuple of str
    """

    diversion: str
    ureter: Ureter
    site: Site
    base: Floats | None = None
    via: Floats | None = None
    cautions: tuple[str, ...] = field(default=())

    @property
    def key(self) -> tuple[str, str, bytes, bytes]:
        """What makes two legs the same piece of geometry."""
        ends = [b"" if place is None else place.tobytes() for place in (self.base, self.via)]
        return self.ureter.side, self.site.name, ends[0], ends[1]

    def wall_mm(self, shift_mm: float = 0.0) -> float:
        """Return the thickness of the wall it crosses, mm, shifted but not below nought."""
        return 0.0 if self.base is not None else max(self.site.wall_mm + shift_mm, 0.0)

    def beyond_mm(self, wall_shift_mm: float = 0.0) -> float:
        """Return what it needs past the wall's inner face: wall and stoma, mm."""
        return 0.0 if self.base is not None else self.wall_mm(wall_shift_mm) + self.site.height_mm

    def question(
        self, scene: Scene, pivot_shift_mm: float = 0.0, wall_shift_mm: float = 0.0
    ) -> Question:
        """Return the routing question, with pivot and wall shifted."""
        station = self.ureter.pivot_mm + pivot_shift_mm
        station = float(np.clip(station, 0.0, self.ureter.division_mm))
        inner = self.site.point - self.wall_mm(wall_shift_mm) * self.site.normal
        return Question(
            start=self.ureter.line.point(station),
            heading=self.ureter.line.heading(station),
            end=inner if self.base is None else self.base,
            arrival=self.site.normal if self.base is None else None,
            radius=scene.least_bend_radius_mm,
            clearance=scene.clearance_mm,
            obstacles=scene.obstacles,
            via=self.via,
        )


@dataclass(frozen=True)
class Missing:
    """A route that a diversion needs and the scene cannot give."""

    diversion: str
    side: Side | None
    site: str | None
    caution: str


def allowed(scene: Scene) -> tuple[str, ...]:
    """Return the diversions for which the scene holds everything, in the catalogue's order."""
    both = all(scene.ureter(side) is not None for side in SIDES)
    sided = {scene.side_of(site) for site in scene.sites}
    holds = {
        "cutaneous-single": True,
        "cutaneous-bilateral": both and sided >= set(SIDES),
        "cutaneous-double-barrel": both,
        TRANSURETERO: both and bool(sided & set(SIDES)),
        **dict.fromkeys(CONDUITS, bool(scene.conduits)),
    }
    return tuple(key for key in DIVERSIONS if holds[key])


def legs(scene: Scene, diversion: str) -> list[Leg | Missing]:
    """Return every leg of a diversion, and what the scene lacks for it.

    For `TRANSURETERO` these are the recipients' legs; the donors' depend on where those run.
    """
    if diversion == "cutaneous-single":
        return [_to_skin(scene, diversion, u, s) for s in scene.sites for u in scene.ureters]
    if diversion == "cutaneous-double-barrel":
        return _double_barrel(scene, diversion)
    if diversion in CONDUITS:
        return _to_conduits(scene, diversion)
    return _own_side(scene, diversion)


def _to_skin(scene: Scene, diversion: str, ureter: Ureter, site: Site, *cautions: str) -> Leg:
    crossing: tuple[str, ...] = ()
    if scene.side_of(site) == OTHER[ureter.side]:
        said = f"The {ureter.side} ureter crosses the midline; the mesentery is not in the model."
        crossing = (said,)
    return Leg(diversion, ureter, site, cautions=(*cautions, *crossing))


def _absent(scene: Scene, diversion: str) -> list[Leg | Missing]:
    return [
        Missing(
            diversion, side, None, f"The scene has no {side} ureter, so its route is not known."
        )
        for side in SIDES
        if scene.ureter(side) is None
    ]


def _own_side(scene: Scene, diversion: str) -> list[Leg | Missing]:
    found: list[Leg | Missing] = []
    for ureter in scene.ureters:
        sites = [site for site in scene.sites if scene.side_of(site) == ureter.side]
        found += [_to_skin(scene, diversion, ureter, site) for site in sites]
        if not sites:
            caution = f"No site lies on the {ureter.side}, so the route there is not known."
            found.append(Missing(diversion, ureter.side, None, caution))
    return found + _absent(scene, diversion)


def _double_barrel(scene: Scene, diversion: str) -> list[Leg | Missing]:
    caution = (
        "Both ureters are routed to the middle of the stoma; lying side by side shifts each by "
        "half a ureter's width, which is not in the model."
    )
    found: list[Leg | Missing] = [
        _to_skin(scene, diversion, ureter, site, caution)
        for site in scene.sites
        for ureter in scene.ureters
    ]
    return found + _absent(scene, diversion)


def _to_conduits(scene: Scene, diversion: str) -> list[Leg | Missing]:
    bases = {conduit.site: conduit for conduit in scene.conduits}
    found: list[Leg | Missing] = []
    for site in scene.sites:
        if site.name not in bases:
            caution = (
                f"The scene gives no base of a conduit for the site {site.name!r}, so what the "
                "ureters must reach is not known."
            )
            found.append(Missing(diversion, None, site.name, caution))
            continue
        found += [_to_base(scene, diversion, u, site, bases[site.name]) for u in scene.ureters]
    return found + _absent(scene, diversion)


def _to_base(scene: Scene, diversion: str, ureter: Ureter, site: Site, conduit: Conduit) -> Leg:
    own = conduit.left_passage
    via, cautions = passing(scene, ureter, own) if ureter.side == "left" else (None, ())
    return Leg(diversion, ureter, site, conduit.base, via, cautions)


def passing(
    scene: Scene, ureter: Ureter, own: Floats | None = None
) -> tuple[Floats | None, tuple[str, ...]]:
    """Return where a ureter that crosses inside the body passes, and what must be said of it.

    Parameters
    ----------
    scene : Scene
    ureter : Ureter
    own : ndarray, shape (3,), mm, optional
        A passage given for this way alone, which goes before the scene's.
    """
    if ureter.side == "right":
        return None, (RIGHT_CROSSES,)
    via = scene.left_passage if own is None else own
    return via, () if via is not None else (NO_PASSAGE,)
