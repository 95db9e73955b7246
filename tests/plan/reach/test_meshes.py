"""Mesh files of every accepted kind, hostile ones refused, and distances against trimesh's own."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import trimesh
from tests.plan.reach.test_reading import PLAIN
from trimesh.proximity import closest_point_naive

from thalweg.errors import InputError
from thalweg.plan.reach import scene_from
from thalweg.plan.reach.meshes import MOST_TRIANGLES, read_mesh
from thalweg.plan.reach.obstacles import Mesh

if TYPE_CHECKING:
    from pathlib import Path

KINDS = ("stl", "stl_ascii", "obj", "ply", "off")


def ring() -> trimesh.Trimesh:
    """Return a torus round z, radii 30 and 10 mm: its distance has a closed form."""
    made: trimesh.Trimesh = trimesh.creation.torus(major_radius=30.0, minor_radius=10.0)
    return made


def written(folder: Path, kind: str, mesh: trimesh.Trimesh) -> Path:
    path = folder / f"bone.{kind.removesuffix('_ascii')}"
    data: Any = mesh.export(file_type=kind)
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def scene(folder: Path, **more: object) -> Any:
    table: dict[str, Any] = {**PLAIN, "obstacle": [{"kind": "mesh", "file": "bone.stl"}], **more}
    return scene_from(table, folder)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_gives_the_same_triangles(tmp_path: Path, kind: str) -> None:
    mesh = ring()
    corners = read_mesh(written(tmp_path, kind, mesh))
    assert corners.shape == mesh.triangles.shape
    # STL and PLY hold single precision; text kinds print some digits fewer.
    assert corners == pytest.approx(np.asarray(mesh.triangles), abs=2e-5)
    assert Mesh(corners).closed


def test_distances_are_those_of_trimesh_and_the_sign_that_of_the_torus() -> None:
    mesh = ring()
    points = np.random.default_rng(5).uniform((-45, -45, -15), (45, 45, 15), (300, 3))
    signed, outward = Mesh(np.asarray(mesh.triangles)).distance(points)
    outside: Any = closest_point_naive
    nearest, away, _ = outside(mesh, points)
    assert np.abs(signed) == pytest.approx(away, abs=1e-9)
    assert points - signed[:, None] * outward == pytest.approx(nearest, abs=1e-7)
    true = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 30.0, points[:, 2]) - 10.0
    clear = np.abs(true) > 1.0  # flat triangles lie up to 0.5 mm within the round surface
    assert ((signed < 0) == (true < 0))[clear].all()
    assert 0.1 < (true[clear] < 0).mean() < 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_cut_short_is_refused(tmp_path: Path, kind: str) -> None:
    path = written(tmp_path, kind, ring())
    data = path.read_bytes()
    # An OBJ cut after its corners is a whole OBJ without triangles; within a face, a smaller one.
    path.write_bytes(data[: len(data) // 3 if kind == "obj" else len(data) - 30])
    with pytest.raises(InputError, match=r"bone\."):
        read_mesh(path)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("bone.step", b"ISO-10303-21;", "not read from '.step'"),
        ("bone", b"", "without a suffix"),
        ("bone.stl", b"", "0 triangles"),
        ("bone.stl", b"hello", "0 triangles"),
        ("bone.ply", b"ply\nformat ascii 1.0\nelement vertex 4000000000\n", "not whole PLY"),
        ("bone.off", b"OFF\n9999999 1 0\n0 0 0\n", "not whole OFF"),
        ("bone.obj", b"v 0 0 0\nv 9 0 0\nv 0 9 0\n", "bone.obj"),
        ("bone.obj", b"mtllib /etc/hostname\nv 0 0 nan\nv 9 0 0\nv 0 9 0\nf 1 2 3\n", "not finite"),
    ],
)
def test_what_is_no_mesh_is_refused(tmp_path: Path, name: str, data: bytes, said: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_mesh(path)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_header_that_lies_about_its_triangles_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bone.stl"
    path.write_bytes(b"x".ljust(80) + struct.pack("<I", 4_000_000_000) + bytes(50))
    with pytest.raises(InputError, match="not whole STL"):
        read_mesh(path)


@pytest.mark.parametrize(("scale", "unit"), [(0.001, "in metres"), (1000.0, "in micrometres")])
def test_another_unit_is_recognised_by_its_size(tmp_path: Path, scale: float, unit: str) -> None:
    mesh = ring()
    mesh.vertices *= scale
    with pytest.raises(InputError, match=unit):
        read_mesh(written(tmp_path, "stl", mesh))


def test_too_many_triangles_are_refused(tmp_path: Path) -> None:
    record = np.zeros(MOST_TRIANGLES + 1, dtype=[("at", "<f4", 12), ("extra", "<u2")])
    record["at"] = np.arange(12) % 7
    made = io.BytesIO(b"x".ljust(80) + struct.pack("<I", len(record)) + record.tobytes())
    path = tmp_path / "bone.stl"
    path.write_bytes(made.getvalue())
    with pytest.raises(InputError, match=f"{MOST_TRIANGLES + 1} triangles"):
        read_mesh(path)


def test_a_mesh_with_holes_is_said_and_needs_clearance(tmp_path: Path) -> None:
    mesh = ring()
    mesh.update_faces(np.arange(len(mesh.faces)) > 3)
    mesh.apply_translation((0, 120, -150))
    written(tmp_path, "stl", mesh)
    found = scene(tmp_path)
    assert any("has holes" in said and "'bone.stl'" in said for said in found.cautions)
    with pytest.raises(InputError, match=r"clearance_mm.*slip through"):
        scene(tmp_path, clearance_mm=0.5)


def test_a_mesh_elsewhere_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    written(tmp_path, "stl", ring())
    for name in ("../bone.stl", str(tmp_path / "bone.stl")):
        table = {**PLAIN, "obstacle": [{"kind": "mesh", "file": name}]}
        with pytest.raises(InputError, match=r"obstacle\[0\]\.file.*beside the scene"):
            scene_from(table, tmp_path / "in")
