"""Reading a DICOM series as a volume: Thalweg, SimpleITK's series reader, plain pydicom.

Run: ``python benchmarks/read_series.py [--full] [--repeat N]``. An artificial CT series is written
once as hospital files would lie in a folder, plain and compressed without loss; each contender then
reads it in a process of its own, after imports. All must give the very same voxels in the same
places. The three do different work besides: SimpleITK orders planes and reads them; the plain loop
sorts by height, applies the rescale and stacks; Thalweg also checks person, frame of reference,
spacing, orientation, units and ranges, and decodes what can crash a decoder in a child process.

`--full` takes 400 planes of 512 x 512 instead of 120.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydicom import dcmread
from pydicom.uid import UID, JPEG2000Lossless, JPEGLSLossless, RLELossless

from _alone import answered, measured, raced, setting
from thalweg.exchange.dicom import InventedPerson, read_volume, write_ct_series
from thalweg.phantom.render import render
from thalweg.phantom.scenario import adult
from thalweg.record.image import ImageVolume

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Read = tuple[NDArray[Any], NDArray[np.float64]]

SIDE, PLANES, FULL_PLANES = 512, 120, 400
SPACING_MM = (0.9, 0.75, 0.75)
SYNTAXES = {
    "plain": None,
    "RLE": RLELossless,
    "JPEG-LS": JPEGLSLossless,
    "JPEG 2000": JPEG2000Lossless,
}


def by_thalweg(folder: Path) -> Read:
    """Return voxels and the LPS place of the first one."""
    volume = read_volume(folder)
    return volume.values, volume.point_of((0, 0, 0))


def by_simpleitk(folder: Path) -> Read:
    """Return the same from SimpleITK's series reader, built on GDCM."""
    import SimpleITK  # noqa: PLC0415 - a peer, imported in its own process

    sitk: Any = SimpleITK  # untyped in part

    reader = sitk.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(str(folder)))
    image = reader.Execute()
    return sitk.GetArrayFromImage(image), np.asarray(image.GetOrigin())


def by_pydicom(folder: Path) -> Read:
    """Return the same from the loop that a script would write."""
    from pydicom.pixels import apply_modality_lut  # noqa: PLC0415 - as above

    files = sorted(map(dcmread, folder.iterdir()), key=lambda f: float(f.ImagePositionPatient[2]))
    planes = [apply_modality_lut(file.pixel_array, file) for file in files]
    return np.stack(planes), np.asarray(files[0].ImagePositionPatient, dtype=np.float64)


CONTENDERS: dict[str, Callable[[Path], Read]] = {
    "thalweg": by_thalweg,
    "SimpleITK series reader": by_simpleitk,
    "pydicom, plain loop": by_pydicom,
}


def written(folder: Path, planes: int) -> None:
    """Write the series, once for each way of storing pixels."""
    size = np.array([SIDE, SIDE, planes]) * SPACING_MM[::-1]
    low = (-192.0, -192.0, -190.0)
    high = tuple(float(a + b) for a, b in zip(low, size, strict=True))
    drawn = render(
        adult(),
        spacing_mm=SPACING_MM,
        low_mm=low,
        high_mm=(high[0], high[1], high[2]),
        noise_hu=16.0,
        seed=5,
    ).volume
    values = np.ascontiguousarray(drawn.values[:planes, :SIDE, :SIDE])
    volume = ImageVolume(values, drawn.to_lps, phantom=True)
    np.save(folder / "truth.npy", values)
    write_ct_series(
        volume,
        folder / "plain",
        person=InventedPerson("X-1", "Invented Person", None, "F"),
        study_at=datetime(2026, 1, 5, 9, 0, tzinfo=UTC),
        description="benchmark",
        seed="benchmark",
    )
    for name, syntax in SYNTAXES.items():
        if syntax is None:
            continue
        (folder / name).mkdir()
        for path in (folder / "plain").iterdir():
            compressed(path, folder / name / path.name, syntax)


def compressed(source: Path, target: Path, syntax: UID) -> None:
    """Write one file again with its pixels compressed without loss."""
    if syntax != JPEG2000Lossless:
        file = dcmread(source)
        file.compress(syntax, generate_instance_uid=False)
        file.save_as(target)
        return
    import gdcm  # noqa: PLC0415 - only here: pydicom has no encoder for it among what we install

    reader, change, writer = (
        gdcm.ImageReader(),
        gdcm.ImageChangeTransferSyntax(),
        gdcm.ImageWriter(),
    )
    reader.SetFileName(str(source))
    change.SetTransferSyntax(gdcm.TransferSyntax(gdcm.TransferSyntax.JPEG2000Lossless))
    read = reader.Read()
    change.SetInput(reader.GetImage())
    done = read and change.Change()
    writer.SetFile(reader.GetFile())
    writer.SetImage(change.GetOutput())
    writer.SetFileName(str(target))
    if not (done and writer.Write()):
        raise SystemExit(f"{source.name} could not be compressed")


def worked(name: str, folder: Path, kind: str) -> None:
    """Let one contender read once; hand over its figures and whether the voxels are right."""
    if "SimpleITK" in name:
        import SimpleITK  # noqa: F401, PLC0415 - imports are not timed

    kept: list[Read] = []

    def work() -> float:
        kept.append(CONTENDERS[name](folder / kind))
        return 0.0

    figures = measured(work)
    values, first = kept[0]
    same = np.array_equal(values, np.load(folder / "truth.npy", mmap_mode="r"))
    near = float(np.abs(first - (-192.0, -192.0, -190.0)).max()) < 1.0
    answered({**figures, "answer": float(same and near)})


def main() -> None:
    """Write, race, print a table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--contender", choices=list(CONTENDERS), help=argparse.SUPPRESS)
    parser.add_argument("--kind", choices=list(SYNTAXES), help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--write", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    planes = FULL_PLANES if arguments.full else PLANES
    if arguments.write:
        written(arguments.write, planes)
        return
    if arguments.contender:
        worked(arguments.contender, arguments.folder, arguments.kind)
        return
    with tempfile.TemporaryDirectory() as kept:
        size = ["--full"] if arguments.full else []
        subprocess.run([sys.executable, __file__, "--write", kept, *size], check=True)
        print(f"{planes} planes of {SIDE} × {SIDE}, int16 ({planes * SIDE * SIDE / 2**19:.0f} MB);")
        print(setting(("numpy", "pydicom", "SimpleITK"), arguments.repeat) + "\n")
        heads = (
            "pixels",
            "reader",
            "wall s",
            "CPU s",
            "MB at the peak",
            "same voxels",
            "wall ratio",
        )
        print("|", " | ".join(heads), "|\n|", " | ".join(["---", "---", *["---:"] * 5]), "|")
        for kind in SYNTAXES:
            own = 0.0
            for name in CONTENDERS:
                words = ["--contender", name, "--folder", kept, "--kind", kind]
                best = raced(__file__, words, arguments.repeat, name)
                own = own or best["wall"]
                print(
                    f"| {kind} | {name} | {best['wall']:.2f} | {best['cpu']:.2f} |"
                    f" {best['mb']:.0f} | {'yes' if best['answer'] else 'NO'} |"
                    f" {best['wall'] / own:.2f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
