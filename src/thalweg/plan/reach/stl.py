"""Triangles from an STL file, text or binary; no library among ours reads one."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["read_stl"]

HEADER = 84
"""Bytes before the first triangle of a binary file: 80 of header, 4 of count."""
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
NUMBER = rb"\s+([-+0-9.eE]+)"
FACET = re.compile(
    rb"\s*facet\s+normal" + NUMBER * 3 + rb"\s+outer\s+loop"
    + (rb"\s+vertex" + NUMBER * 3) * 3 + rb"\s+endloop\s+endfacet",
)  # fmt: skip
MOST_TRIANGLES = 2_000_000


def read_stl(path: Path) -> NDArray[np.float64]:
    """Return the triangles of an STL file.

    Returns
    -------
    ndarray, shape (n, 3 corners, 3)
        In the file's own unit, which STL does not name; Thalweg reads millimetres.

    Raises
    ------
    InputError
        Where the file cannot be read, is cut short, or holds anything but finite triangles.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            "the mesh file cannot be read", where=path.name, mend="give the path of an STL file"
        ) from error
    count = int.from_bytes(data[80:HEADER], "little") if len(data) >= HEADER else -1
    if count >= 0 and len(data) == HEADER + count * RECORD.itemsize:
        corners = np.frombuffer(data, RECORD, offset=HEADER)["corners"].astype(np.float64)
    elif data.lstrip()[:5].lower() == b"solid":
        corners = _text(data, path)
    else:
        raise InputError(
            "the file is neither text nor whole binary STL",
            where=path.name,
            mend="export the mesh as STL",
        )
    if not 0 < len(corners) <= MOST_TRIANGLES or not np.isfinite(corners).all():
        raise InputError(
            f"the mesh has {len(corners)} triangles or a corner that is not finite",
            where=path.name,
            mend=f"export 1 to {MOST_TRIANGLES} triangles with finite corners",
        )
    return corners


def _text(data: bytes, path: Path) -> NDArray[np.float64]:
    body = data.lower()
    head, _, rest = body.partition(b"\n")
    values, end = [], 0
    for match in FACET.finditer(rest):
        if rest[end : match.start()].strip():
            break
        values.append([float(number) for number in match.groups()[3:]])
        end = match.end()
    if not re.fullmatch(rb"\s*endsolid[^\n]*\s*", rest[end:]) or not head.strip():
        line = body[: len(head) + 1 + end].count(b"\n") + 1
        raise InputError(
            f"text STL goes wrong after line {line}", where=path.name, mend="export the mesh again"
        )
    return np.array(values, dtype=np.float64).reshape(-1, 3, 3)
