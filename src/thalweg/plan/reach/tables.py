"""The tables of a scene's TOML file, each with the keys, types and bounds that it may hold."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

__all__ = [
    "ArcTable",
    "CapsuleTable",
    "ConduitTable",
    "DoubtTable",
    "HelixTable",
    "LineTable",
    "MeshTable",
    "Point",
    "PolylineTable",
    "SceneTable",
    "SiteTable",
    "SphereTable",
    "UreterTable",
    "UretersTable",
]

Point = tuple[float, float, float]
NotNegative = Annotated[float, msgspec.Meta(ge=0)]
Positive = Annotated[float, msgspec.Meta(gt=0)]
Name = Annotated[str, msgspec.Meta(min_length=1)]


class _Table(msgspec.Struct, forbid_unknown_fields=True):
    """A TOML table that knows all its keys."""


class LineTable(_Table, tag_field="kind", tag="line"):
    """A straight course; points in LPS mm."""

    from_mm: Point
    to_mm: Point


class ArcTable(_Table, tag_field="kind", tag="arc"):
    """A circular arc about an axis; mm and degrees."""

    centre_mm: Point
    start_mm: Point
    axis: Point
    angle_deg: float


class HelixTable(_Table, tag_field="kind", tag="helix"):
    """A helix about an axis, rising by so much in all; mm and degrees."""

    centre_mm: Point
    start_mm: Point
    axis: Point
    angle_deg: float
    rise_mm: float


class PolylineTable(_Table, tag_field="kind", tag="polyline"):
    """A course through points, LPS mm."""

    points_mm: list[Point]


class UreterTable(_Table):
    """One ureter, as points or as a curve; stations in mm."""

    points_mm: list[Point] | None = None
    curve: LineTable | ArcTable | HelixTable | PolylineTable | None = None
    pivot_mm: NotNegative | None = None
    division_mm: NotNegative | None = None
    trim_mm: NotNegative | None = None
    length_sd_mm: NotNegative | None = None


class UretersTable(_Table):
    """The ureters by side."""

    left: UreterTable | None = None
    right: UreterTable | None = None


class SiteTable(_Table):
    """A candidate stoma site on the skin, with its outward normal; mm."""

    name: Name
    point_mm: Point
    normal: Point
    wall_mm: NotNegative
    height_mm: NotNegative | None = None
    side: Literal["left", "right"] | None = None


class SphereTable(_Table, tag_field="kind", tag="sphere"):
    """A round obstacle, mm."""

    at_mm: Point
    radius_mm: Positive


class CapsuleTable(_Table, tag_field="kind", tag="capsule"):
    """An obstacle of one radius round a line, mm."""

    from_mm: Point
    to_mm: Point
    radius_mm: Positive


class MeshTable(_Table, tag_field="kind", tag="mesh"):
    """An obstacle from a mesh file beside the scene, in mm."""

    file: Name


class ConduitTable(_Table):
    """Where a conduit's base lies, and the passage of the left ureter to it; LPS mm."""

    site: Name
    base_mm: Point
    left_passage_mm: Point | None = None


class DoubtTable(_Table):
    """Standard deviations behind a margin, in mm or as shares of a length."""

    tracing_share: NotNegative | None = None
    wall_mm: NotNegative | None = None
    pivot_mm: NotNegative | None = None
    trim_mm: NotNegative | None = None
    stretch_share: Annotated[float, msgspec.Meta(ge=0, lt=1)] | None = None
    passage_mm: NotNegative | None = None


class SceneTable(_Table):
    """A whole scene; lengths in mm."""

    least_bend_radius_mm: NotNegative | None = None
    clearance_mm: NotNegative | None = None
    diversions: list[str] | None = None
    ureter: UretersTable = msgspec.field(default_factory=UretersTable)
    site: list[SiteTable] = []
    obstacle: list[SphereTable | CapsuleTable | MeshTable] = []
    conduit: list[ConduitTable] = []
    doubt: DoubtTable = msgspec.field(default_factory=DoubtTable)
    seed: Annotated[int, msgspec.Meta(ge=0)] | None = None
    samples: Annotated[int, msgspec.Meta(ge=100, le=1_000_000)] | None = None
    midline_x_mm: float = 0.0
    left_passage_mm: Point | None = None
