"""A scene from its TOML file, every entry checked and every fault said by its key."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from thalweg.errors import InputError
from thalweg.plan.reach.centreline import BrokenLine, Centreline, Helix
from thalweg.plan.reach.diversions import DIVERSIONS
from thalweg.plan.reach.meshes import read_mesh
from thalweg.plan.reach.obstacles import Capsule, Mesh, Obstacle, Sphere
from thalweg.plan.reach.scene import Conduit, Doubt, Scene, Side, Site, Ureter, defaults
from thalweg.plan.reach.tables import (
    ArcTable,
    CapsuleTable,
    ConduitTable,
    DoubtTable,
    HelixTable,
    LineTable,
    MeshTable,
    Point,
    PolylineTable,
    SceneTable,
    SiteTable,
    SphereTable,
    UreterTable,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["read_scene", "scene_from"]

HOLES = (
    "The mesh {!r} has holes or overlapping triangles: routes keep clear of its surface, "
    "but nothing counts as inside it, so that a pivot, site or base within it is not noticed."
)
LEAST_OPEN_CLEARANCE_MM = 1.0
"""Routes are looked at every quarter of a millimetre: a bare surface is never stepped over then."""
GREATEST_MM = 10_000.0
"""No image or body reaches farther from its origin."""


def read_scene(path: Path) -> Scene:
    """Read a scene file.

    Parameters
    ----------
    path : Path
        A TOML file; meshes are looked for beside it.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        Where the file cannot be read or anything in it cannot be used, by key.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            "the scene cannot be read", where=path.name, mend="give the path of a TOML file"
        ) from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(
            f"the scene is not TOML ({error})", where=path.name, mend="correct that place"
        ) from error
    try:
        return scene_from(table, path.parent)
    except InputError as error:
        raise error.at(path.name) from error


def scene_from(table: dict[str, Any], folder: Path, *, without_sites: bool = False) -> Scene:
    """Return the scene of a parsed TOML table.

    Parameters
    ----------
    table : dict
    folder : Path
        Where its meshes lie.
    without_sites : bool
        Whether it may have no site, as for a map of margins.

    Raises
    ------
    InputError
        Where anything in it cannot be used, by key.
    """
    _refuse_endless(table, "")
    try:
        raw = msgspec.convert(table, SceneTable)
    except msgspec.ValidationError as error:
        raise _said(str(error)) from error
    unknown = [key for key in raw.diversions or [] if key not in DIVERSIONS]
    if unknown or raw.diversions == []:
        raise InputError(
            f"{unknown[0]!r} is not a diversion" if unknown else "the list is empty",
            where="diversions",
            mend="use " + ", ".join(DIVERSIONS) + ", or leave the entry out for all",
        )
    sides: list[tuple[Side, UreterTable | None]] = [
        ("left", raw.ureter.left),
        ("right", raw.ureter.right),
    ]
    if not raw.site and not without_sites:
        raise InputError("the scene has no site", mend="add at least one [[site]]")
    sites = tuple(_site(item, index) for index, item in enumerate(raw.site))
    _refuse_twins(sites)
    sampling = defaults()["sampling"]
    obstacles = tuple(_obstacle(item, i, folder) for i, item in enumerate(raw.obstacle))
    open_ones = [item for item in obstacles if isinstance(item, Mesh) and not item.closed]
    if open_ones and (raw.clearance_mm or 0.0) < LEAST_OPEN_CLEARANCE_MM:
        raise InputError(
            f"the mesh {open_ones[0].name!r} has holes, so that with a clearance below "
            f"{LEAST_OPEN_CLEARANCE_MM:g} mm a route could slip through its surface",
            where="clearance_mm",
            mend="close the mesh, or ask for more clearance",
        )
    return Scene(
        ureters=tuple(_ureter(side, item) for side, item in sides if item is not None),
        sites=sites,
        obstacles=obstacles,
        conduits=tuple(_conduit(item, i, sites) for i, item in enumerate(raw.conduit)),
        least_bend_radius_mm=raw.least_bend_radius_mm or 0.0,
        clearance_mm=raw.clearance_mm or 0.0,
        diversions=None if raw.diversions is None else tuple(dict.fromkeys(raw.diversions)),
        doubt=_doubt(raw.doubt),
        seed=sampling["seed"] if raw.seed is None else raw.seed,
        samples=raw.samples or sampling["samples"],
        midline_x_mm=raw.midline_x_mm,
        left_passage=None if raw.left_passage_mm is None else _point(raw.left_passage_mm),
        cautions=(*_unsaid(raw), *(HOLES.format(item.name) for item in open_ones)),
    )


def _refuse_endless(value: object, where: str) -> None:
    """Refuse numbers that are not finite, which TOML allows, or that no body has."""
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(f"{value} is not a finite number", where=where, mend="give a number")
    counted = where in {"seed", "samples"}
    if isinstance(value, (int, float)) and not counted and abs(value) > GREATEST_MM:
        raise InputError(
            f"{value:g} is beyond any body", where=where, mend="give millimetres, within 10 metres"
        )
    if isinstance(value, dict):
        for key, item in value.items():
            _refuse_endless(item, f"{where}.{key}" if where else str(key))
    if isinstance(value, list):
        for index, item in enumerate(value):
            _refuse_endless(item, f"{where}[{index}]")


def _said(message: str) -> InputError:
    """Return the reader's own words as an error that names the key."""
    what, _, place = message.partition(" - at `$")
    where = place.rstrip("`").lstrip(".")
    extra = re.search(r"unknown field `(.+?)`", what)
    missing = re.search(r"missing required field `(.+?)`", what)
    if extra:
        key = f"{where}.{extra[1]}".lstrip(".")
        return InputError("the key is not known here", where=key, mend="remove or correct it")
    if missing:
        key = f"{where}.{missing[1]}".lstrip(".")
        return InputError("the entry is missing", where=key, mend="add it")
    plain = what.replace("`", "'").replace("Expected", "expected").rstrip(".")
    return InputError(plain, where=where, mend="correct the entry")


def _point(values: Point) -> NDArray[np.float64]:
    return np.array(values, dtype=np.float64)


def _unit(values: Point, where: str) -> NDArray[np.float64]:
    vector = _point(values)
    length = float(np.linalg.norm(vector))
    if length < 1e-9:
        raise InputError("the direction has no length", where=where, mend="give a direction")
    return np.asarray(vector / length)


def _broken_line(points: list[Point], where: str) -> BrokenLine:
    places = np.array(points, dtype=np.float64).reshape(-1, 3)
    apart = np.linalg.norm(np.diff(places, axis=0), axis=1)
    keep = np.append(True, apart > 1e-9)[: len(places)]
    if keep.sum() < 2:
        raise InputError(
            "the line needs two different points",
            where=where,
            mend="list it from pelvis to bladder",
        )
    return BrokenLine(places[keep])


def _helix(curve: ArcTable | HelixTable, where: str) -> Helix:
    axis, centre, start = (
        _unit(curve.axis, f"{where}.axis"),
        *map(_point, (curve.centre_mm, curve.start_mm)),
    )
    if np.linalg.norm(np.cross(start - centre, axis)) < 1e-9 or curve.angle_deg == 0:
        raise InputError(
            "the start lies on the axis or the angle is 0",
            where=where,
            mend="give a start off the axis and an angle",
        )
    rise = curve.rise_mm if isinstance(curve, HelixTable) else 0.0
    return Helix(centre, start, axis, math.radians(curve.angle_deg), rise)


def _centreline(item: UreterTable, where: str) -> Centreline:
    if (item.points_mm is None) == (item.curve is None):
        raise InputError(
            "the ureter needs either points_mm or curve", where=where, mend="give one of the two"
        )
    if item.points_mm is not None:
        return _broken_line(item.points_mm, f"{where}.points_mm")
    if isinstance(item.curve, LineTable):
        return _broken_line([item.curve.from_mm, item.curve.to_mm], f"{where}.curve")
    if isinstance(item.curve, PolylineTable):
        return _broken_line(item.curve.points_mm, f"{where}.curve.points_mm")
    assert item.curve is not None  # noqa: S101 - said above
    return _helix(item.curve, f"{where}.curve")


def _ureter(side: Side, item: UreterTable) -> Ureter:
    line = _centreline(item, f"ureter.{side}")
    cautions = []
    if item.pivot_mm is None:
        cautions.append(
            f"No pivot was given for the {side} ureter: it is taken as held at its very start, "
            "station 0, which makes the free length the longest possible."
        )
    if item.division_mm is None:
        cautions.append(
            f"No division was given for the {side} ureter: it is taken as cut at its last point."
        )
    if item.trim_mm is None:
        cautions.append(f"No trim was given for the {side} ureter: nothing is taken off its end.")
    return Ureter(
        side,
        line,
        pivot_mm=item.pivot_mm or 0.0,
        division_mm=line.length if item.division_mm is None else item.division_mm,
        trim_mm=item.trim_mm or 0.0,
        length_sd_mm=item.length_sd_mm,
        cautions=tuple(cautions),
    )


def _site(item: SiteTable, index: int) -> Site:
    cautions: tuple[str, ...] = ()
    if item.height_mm is None:
        cautions = ("No stoma height was given: it is taken as flush with the skin.",)
    return Site(
        item.name,
        _point(item.point_mm),
        _unit(item.normal, f"site[{index}].normal"),
        item.wall_mm,
        item.height_mm or 0.0,
        item.side,
        cautions,
    )


def _refuse_twins(sites: tuple[Site, ...]) -> None:
    names = [site.name for site in sites]
    for index, name in enumerate(names):
        if name in names[:index]:
            raise InputError(
                f"{name!r} is also the name of an earlier site",
                where=f"site[{index}].name",
                mend="give every site its own name",
            )


def _obstacle(item: SphereTable | CapsuleTable | MeshTable, index: int, folder: Path) -> Obstacle:
    if isinstance(item, SphereTable):
        return Sphere(_point(item.at_mm), item.radius_mm)
    if isinstance(item, CapsuleTable):
        return Capsule(_point(item.from_mm), _point(item.to_mm), item.radius_mm)
    try:
        return Mesh(read_mesh(_beside(folder, item.file)), item.file)
    except InputError as error:
        raise error.at(f"obstacle[{index}].file") from error


def _beside(folder: Path, name: str) -> Path:
    """Return the path of a file that must lie in the folder or below it."""
    path = folder / name
    if not path.resolve().is_relative_to(folder.resolve()):
        raise InputError(
            f"{name!r} does not lie beside the scene",
            mend="put the mesh into the scene's folder and give its name",
        )
    return path


def _conduit(item: ConduitTable, index: int, sites: tuple[Site, ...]) -> Conduit:
    if item.site not in [site.name for site in sites]:
        raise InputError(
            f"no site is called {item.site!r}",
            where=f"conduit[{index}].site",
            mend="use the name of a [[site]]",
        )
    passage = None if item.left_passage_mm is None else _point(item.left_passage_mm)
    return Conduit(item.site, _point(item.base_mm), passage)


def _doubt(item: DoubtTable) -> Doubt:
    said = {key: value for key, value in msgspec.structs.asdict(item).items() if value is not None}
    return Doubt(**{**defaults()["doubt"], **said}, given=tuple(sorted(said)))


def _unsaid(raw: SceneTable) -> list[str]:
    """Return a sentence for every entry of the whole scene that was left out and matters."""
    cautions = []
    if raw.least_bend_radius_mm is None:
        cautions.append("No least bend radius was given: bends are not limited.")
    if raw.clearance_mm is None:
        cautions.append("No clearance was given: the route may touch obstacles.")
    if not raw.obstacle:
        cautions.append("The scene has no obstacles: bone and vessels are not reckoned with.")
    return cautions
