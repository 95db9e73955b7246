"""Routes of freed ureters to their stomas, from the front and from the left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.obstacles import Capsule, Sphere
from thalweg.sheets.document import Picture
from thalweg.sheets.pictures.canvas import BAD, CARE, GOOD, INK, SOFT, as_svg, figure

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from thalweg.plan.reach import RouteResult, Scene

    Floats = NDArray[np.float64]

__all__ = ["routes_picture", "standing"]

JOINS = (
    " Yellow diamond: where one ureter joins the other, with its station below the recipient's "
    "pivot (above it where negative) and the angle to the stream."
)
PASSES = " Triangle: the marked passage behind the sigmoid mesentery."
FRONT, SIDE = (0, 2), (1, 2)
SAMPLES = 24
EDGE_MM = 18.0
NAMES_MM = 42.0
"""Room beside the outermost sites for their names."""


def standing(route: RouteResult) -> str:
    """Return ``"reaches"``, ``"short"`` or ``"uncertain"``: what the margin's interval says."""
    if route.margin_interval_mm is None:
        return "uncertain"
    low, high = route.margin_interval_mm
    if low >= 0:
        return "reaches"
    return "short" if high < 0 else "uncertain"


_LOOK = {"reaches": (GOOD, "-"), "uncertain": (CARE, "--"), "short": (BAD, ":")}


def _obstacles(axes: Axes, scene: Scene, plane: tuple[int, int]) -> None:
    from matplotlib.patches import Circle  # noqa: PLC0415 - only when drawn

    for obstacle in scene.obstacles:
        if isinstance(obstacle, Capsule):
            ends = np.array([obstacle.base, obstacle.tip])
            places = ends[0] + np.linspace(0, 1, SAMPLES)[:, None] * (ends[1] - ends[0])
            radius = obstacle.radius
        elif isinstance(obstacle, Sphere):
            places, radius = np.asarray(obstacle.at)[None], obstacle.radius
        else:
            continue
        for place in places:
            axes.add_patch(Circle(tuple(place[list(plane)]), radius, color="#d9d4c7", lw=0))


def _draw(axes: Axes, scene: Scene, routes: Iterable[RouteResult], plane: tuple[int, int]) -> None:
    across, up = plane
    _obstacles(axes, scene, plane)
    for ureter in scene.ureters:
        stations = np.linspace(0.0, ureter.line.length, 200)
        points = np.array([ureter.line.point(station) for station in stations])
        axes.plot(points[:, across], points[:, up], color=SOFT, lw=1.0)
        pivot = ureter.line.point(ureter.pivot_mm)
        cut = ureter.line.point(ureter.division_mm)
        axes.plot(pivot[across], pivot[up], "o", color=INK, ms=4)
        axes.plot(cut[across], cut[up], "x", color=INK, ms=5, mew=1.4)
    for route in routes:
        if route.points_mm is None:
            continue
        colour, dash = _LOOK[standing(route)]
        axes.plot(route.points_mm[:, across], route.points_mm[:, up], color=colour, ls=dash, lw=1.6)
        _joined(axes, route, plane)
    place = scene.left_passage
    if place is not None and any(_passes(route, place) for route in routes):
        axes.plot(place[across], place[up], "^", color=INK, ms=5, mfc="white", mew=1.1)
    for site in scene.sites:
        axes.plot(site.point[across], site.point[up], "s", color=INK, ms=5, mfc="white", mew=1.2)
        # From the side, sites of one height lie on one another: named from the front only.
        if plane == FRONT:
            left = scene.side_of(site) == "left"
            axes.annotate(
                site.name,
                (site.point[across], site.point[up]),
                xytext=(6 if left else -6, 0),
                textcoords="offset points",
                ha="left" if left else "right",
                va="center",
                fontsize=7,
            )
    axes.set_aspect("equal")
    axes.grid(visible=True, lw=0.3)


def _passes(route: RouteResult, place: Floats) -> bool:
    """Say whether a route runs through a place; its points stand 2 mm apart at most."""
    points = route.points_mm
    return points is not None and float(np.linalg.norm(points - place, axis=1).min()) < 1.0


def _way(route: RouteResult) -> str:
    if route.joined is None:
        return f"{route.side} ureter to {route.site}"
    return (
        f"{route.side} ureter joins the {route.joined.recipient}, whose stoma is {route.site}, "
        f"{route.joined.place}, at {route.joined.angle_deg:.0f}°"
    )


def _joined(axes: Axes, route: RouteResult, plane: tuple[int, int]) -> None:
    """Mark where a donor joins, and from the front say at what station and angle."""
    if route.joined is None:
        return
    across, up = plane
    place = route.joined.point_mm[across], route.joined.point_mm[up]
    axes.plot(*place, "D", color=INK, ms=5, mfc="#ffd400", mew=1.1)
    if plane == FRONT:
        # Outwards, where nothing else is drawn between the rows of sites.
        toward = 1 if route.joined.recipient == "left" else -1
        axes.annotate(
            f"{route.joined.station_mm:+.0f} mm, {route.joined.angle_deg:.0f}°",
            place, (toward * 9, -12), textcoords="offset points",
            ha="left" if toward > 0 else "right", fontsize=6.5,
            arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.6},
        )  # fmt: skip


def _framed(axes: Axes, scene: Scene, plane: tuple[int, int]) -> None:
    """Show ureters and sites, and of spine and vessels only what lies beside them."""
    points = np.vstack(
        [
            *(np.array([u.line.point(0.0), u.line.point(u.line.length)]) for u in scene.ureters),
            *(site.point[None] for site in scene.sites),
        ]
    )
    low, high = points.min(axis=0) - EDGE_MM, points.max(axis=0) + EDGE_MM
    across, up = plane
    wide = NAMES_MM if plane == FRONT else 0.0
    axes.set_xlim(low[across] - wide, high[across] + wide)
    axes.set_ylim(low[up], high[up])


def routes_picture(scene: Scene, routes: tuple[RouteResult, ...], name: str) -> Picture:
    """Return one diversion's routes, seen from the front and from the person's left.

    Parameters
    ----------
    scene : Scene
    routes : tuple of RouteResult
        Of one diversion.
    name : str
        Of the diversion, as printed.
    """
    with figure(178, 104) as sheet:
        front, side = sheet.subplots(1, 2, width_ratios=(1.35, 1.0))
        _draw(front, scene, routes, FRONT)
        _framed(front, scene, FRONT)
        front.set_xlabel("person's right ←   x, mm   → person's left")
        front.set_ylabel("z, mm (towards the head ↑)")
        front.set_title("From the front")
        _draw(side, scene, routes, SIDE)
        _framed(side, scene, SIDE)
        side.set_xlabel("front ←   y, mm   → back")
        side.set_title("From the person's left")
        data = as_svg(sheet)
    told = "; ".join(f"{_way(r)}: {standing(r)}" for r in routes if r.margin_mm is not None)
    joins = any(route.joined is not None for route in routes)
    place = scene.left_passage
    passes = place is not None and any(_passes(route, place) for route in routes)
    return Picture(
        data,
        "svg",
        f"{name}: shortest permitted routes. Solid green reaches, dashed amber uncertain, dotted "
        "red too short; grey line the ureter as it lies, dot where it stays held, cross where it "
        "is cut, shaded bone and great vessels, square the stoma site."
        + (JOINS if joins else "")
        + (PASSES if passes else ""),
        f"{name}: {told or 'no route could be computed'}.",
        share=0.94,
    )
