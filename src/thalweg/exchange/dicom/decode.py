"""Decoding stored pixel values, with the decoders that can crash kept in a process of their own.

pydicom chooses the decoder. GDCM, the only one here for JPEG lossless, ends the whole process on
some damaged codestreams instead of raising (the tests' mutations found it for JPEG lossless,
JPEG-LS and JPEG 2000). JPEG-LS and RLE therefore go to other decoders, and what is left to GDCM
is decoded by a child process: its death becomes an error that names the file.
"""

from __future__ import annotations

import json
import subprocess
import sys
import warnings
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np
from pydicom import dcmread
from pydicom.pixels.utils import iter_pixels
from pydicom.uid import JPEGLSLossless, JPEGLSNearLossless, RLELossless

from thalweg.errors import ImageError
from thalweg.exchange.dicom.scan import DAMAGED

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray
    from pydicom.uid import UID

__all__ = ["Stored", "decoded"]

PLUGIN_OF: Final = {
    JPEGLSLossless: "pyjpegls",
    JPEGLSNearLossless: "pyjpegls",
    RLELossless: "pydicom",
}
"""Decoders that raise on damage; every other compression is decoded by a child process."""


class Stored(Protocol):
    """Where one image's pixels lie, and how they are encoded."""

    @property
    def path(self) -> Path:
        """File that holds it."""

    @property
    def frame(self) -> int | None:
        """Index in a multi-frame file, from 0; None in a file of one image."""

    @property
    def transfer_syntax(self) -> UID:
        """How the file is encoded."""


Request = tuple[str, list[int]]
"""A file and the indices of its frames to decode, rising."""


def decoded(planes: Sequence[Stored]) -> Iterator[tuple[int, NDArray[Any]]]:
    """Decode planes, opening every file once.

    Parameters
    ----------
    planes : sequence of Stored
        Such as the planes of one series.

    Yields
    ------
    index : int
        Of the plane in `planes`.
    stored : ndarray of integers, shape (rows, columns)
        Stored values, before rescale.

    Raises
    ------
    ImageError
        A file that cannot be decoded, named.
    """
    of_file: dict[Path, list[int]] = {}
    for index, plane in enumerate(planes):
        of_file.setdefault(plane.path, []).append(index)
    for members in of_file.values():
        members.sort(key=lambda index: planes[index].frame or 0)
    sheltered = {
        path: [planes[index].frame or 0 for index in members]
        for path, members in of_file.items()
        if _needs_shelter(planes[members[0]])
    }
    from_child = _by_child([(str(path), frames) for path, frames in sheltered.items()])
    try:
        for path, members in of_file.items():
            try:
                here = from_child if path in sheltered else _here(planes, members)
                for index in members:
                    yield index, next(here)
            except (OSError, StopIteration, *DAMAGED) as error:
                raise ImageError(
                    "has pixels that cannot be decoded",
                    where=str(path),
                    mend="copy the file again, or export the series without compression",
                ) from error
    finally:
        from_child.close()


def _needs_shelter(plane: Stored) -> bool:
    syntax = plane.transfer_syntax
    return bool(syntax.is_encapsulated) and syntax not in PLUGIN_OF


def _here(planes: Sequence[Stored], members: list[int]) -> Iterator[NDArray[Any]]:
    """Decode one file's frames in this process."""
    first = planes[members[0]]
    # From a path, pydicom reads one frame at a time; a deflated file it must inflate whole.
    source = dcmread(first.path) if first.transfer_syntax.is_deflated else str(first.path)
    frames = [planes[index].frame or 0 for index in members]
    plugin = PLUGIN_OF.get(first.transfer_syntax, "")
    return iter_pixels(source, indices=frames, raw=True, decoding_plugin=plugin)


def _by_child(requests: list[Request]) -> Generator[NDArray[Any], None, None]:
    """Yield the frames of all requests in order; fewer where the child process died."""
    if not requests:
        return
    command = [sys.executable, "-P", "-c", f"from {__name__} import serve; serve()"]
    with subprocess.Popen(  # noqa: S603 - this very module; the requests go through a pipe
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as child:
        try:
            if child.stdin is None or child.stdout is None:  # never, with the pipes above
                return
            child.stdin.write(json.dumps(requests).encode())
            child.stdin.close()
            while head := child.stdout.readline():
                layout = json.loads(head)
                count = int(np.prod(layout["shape"])) * np.dtype(layout["dtype"]).itemsize
                body = child.stdout.read(count)
                if len(body) < count:
                    return
                yield np.frombuffer(body, layout["dtype"]).reshape(layout["shape"])
        finally:
            child.kill()


def serve() -> None:
    """Be the child: decode the requested frames in turn, each a line of JSON, then its bytes.

    Requests come by standard input. The child ends early at a frame it cannot decode; the parent
    names the file that the missing frame belongs to.
    """
    warnings.simplefilter("ignore")  # they quote values from the files
    answers = sys.stdout.buffer
    try:
        for path, frames in json.load(sys.stdin.buffer):
            for stored in iter_pixels(path, indices=frames, raw=True):
                layout = {"dtype": stored.dtype.str, "shape": stored.shape}
                answers.write(json.dumps(layout).encode() + b"\n" + stored.tobytes())
                answers.flush()
    except (OSError, *DAMAGED):
        sys.exit(1)
