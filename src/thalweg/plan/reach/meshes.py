"""Triangles from a mesh file, checked before any route is kept clear of them."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["FORMATS", "read_mesh"]

FORMATS = ("stl", "obj", "ply", "off")
"""Read from the file alone: none of these needs a second file for its triangles."""
MOST_BYTES = 200_000_000
MOST_TRIANGLES = 100_000
"""More would make every question about the inside take minutes, and hold no more than the CT's
own voxels do: a pelvis at 2 mm has some tens of thousands."""
LEAST_MM, GREATEST_MM = 2.0, 3000.0
"""Greatest extent: what is smaller was hardly in millimetres but in metres, what is larger in
micrometres."""
FAULTS = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    ImportError,
    LookupError,
    MemoryError,
    NameError,
    RuntimeError,
    TypeError,
    ValueError,
)
"""What the library raises on a file that is not what its name says (asking for a module that
guesses encodings, where the text is in none)."""


def read_mesh(path: Path) -> NDArray[np.float64]:
    """Read a mesh file.

    Parameters
    ----------
    path : Path
        STL (text or binary), OBJ, PLY or OFF, told by its suffix. None of them names a unit:
        Thalweg reads millimetres, in the scene's own coordinates.

    Returns
    -------
    ndarray, shape (n, 3 corners, 3), mm

    Raises
    ------
    InputError
        Where the file cannot be read, is too large, cut short, without triangles, not finite, or
        of a size that no part of a body has in millimetres.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise InputError(
            f"meshes are not read from {path.suffix or 'a file without a suffix'!r}",
            where=path.name,
            mend=f"export it as {', '.join(each.upper() for each in FORMATS)}",
        )
    corners = _triangles(_bytes(path), kind, path.name)
    if not np.isfinite(corners).all():
        raise InputError(
            "a corner of the mesh is not finite", where=path.name, mend="export the mesh again"
        )
    _sized(corners, path.name)
    return corners


def _bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise InputError(
                f"the mesh file has {size / 1e6:.0f} MB",
                where=path.name,
                mend=f"export it more coarsely, to less than {MOST_BYTES / 1e6:.0f} MB",
            )
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            "the mesh file cannot be read", where=path.name, mend="give the path of a mesh file"
        ) from error


def _triangles(data: bytes, kind: str, name: str) -> NDArray[np.float64]:
    import trimesh  # noqa: PLC0415 - heavy, and most scenes have no mesh

    try:
        # From memory and without materials: the file can name no other file to be opened.
        loaded: Any = trimesh.load(
            io.BytesIO(data), file_type=kind, process=False, force="mesh", skip_materials=True
        )
        corners = np.asarray(loaded.triangles, dtype=np.float64).reshape(-1, 3, 3)
        if kind == "off" and len(corners) < _faces_said(data):
            msg = "the library reads an OFF cut short as a smaller one"
            raise ValueError(msg)
    except FAULTS as error:
        raise InputError(
            f"the file is not whole {kind.upper()}", where=name, mend="export the mesh again"
        ) from error
    if not 0 < len(corners) <= MOST_TRIANGLES:
        raise InputError(
            f"the mesh has {len(corners)} triangles",
            where=name,
            mend=f"export a surface of 1 to {MOST_TRIANGLES} triangles",
        )
    return corners


def _faces_said(data: bytes) -> int:
    """Return how many faces the head of an OFF file promises."""
    lines = (line.partition(b"#")[0] for line in io.BytesIO(data))
    words = (word for line in lines for word in line.split())
    kind, _, faces = next(words), next(words, b""), next(words, b"")
    return int(faces) if kind == b"OFF" else 0


def _sized(corners: NDArray[np.float64], name: str) -> None:
    extent = float(np.ptp(corners.reshape(-1, 3), axis=0).max())
    if LEAST_MM <= extent <= GREATEST_MM:
        return
    guess = "metres" if extent < LEAST_MM else "micrometres"
    raise InputError(
        f"the mesh is {extent:.3g} mm large, which looks as if it were in {guess}",
        where=name,
        mend="export it in millimetres",
    )
