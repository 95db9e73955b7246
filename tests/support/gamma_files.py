"""Files of a gamma camera, built attribute by attribute from the standard, not by our writer.

PS3.3 C.8.4.7 (pixels), C.8.4.8 (frame indices), C.8.4.10 (label), C.8.4.11 (detectors) and
C.8.4.14 (phases), read. The frames' order, times and counts are laid out by the builder here, in
its own loops, so that the reader's are checked against something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from pydicom import Dataset, dcmwrite
from pydicom.dataset import FileMetaDataset
from pydicom.uid import UID, ExplicitVRLittleEndian, NuclearMedicineImageStorage

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

POSTERIOR = ("399001007", "SCT")
ANTERIOR = ("399321004", "SCT")
FROM_BEHIND = (-1.0, 0.0, 0.0, 0.0, 0.0, -1.0)
FROM_FRONT = (1.0, 0.0, 0.0, 0.0, 0.0, -1.0)
SECRET = "Invented^Quorn"
SHAPE = (5, 7)


@dataclass(frozen=True)
class PhaseOf:
    """One phase, in milliseconds as the file writes it."""

    frames: int
    duration: int
    pause: int = 0
    delay: int = 0


@dataclass(frozen=True)
class DetectorOf:
    """One detector: its view code and how its picture lies; None where the file does not say."""

    view: tuple[str, str] | None = POSTERIOR
    cosines: Sequence[float] | None = FROM_BEHIND
    angle: float | None = None


PHASES = (PhaseOf(3, 2000), PhaseOf(4, 10000, 500, 1500), PhaseOf(2, 60000, 0, 30000))
"""Starts by hand: 0, 2, 4; then 6 + 1.5 = 7.5, 18, 28.5, 39; then 49 + 30 = 79, 139 s."""
STARTS_S = [0.0, 2.0, 4.0, 7.5, 18.0, 28.5, 39.0, 79.0, 139.0]
DURATIONS_S = [2.0] * 3 + [10.0] * 4 + [60.0] * 2


def value_of(window: int, detector: int, frame: int) -> NDArray[np.uint16]:
    """Return the counts of a frame; every number tells where it belongs."""
    ramp = np.arange(SHAPE[0] * SHAPE[1]).reshape(SHAPE)
    return (1000 * window + 300 * detector + 10 * frame + ramp).astype(np.uint16)


def coded(value: str, scheme: str, meaning: str = "as coded") -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning
    return item


def camera_dataset(
    *,
    phases: tuple[PhaseOf, ...] = PHASES,
    detectors: tuple[DetectorOf, ...] = (DetectorOf(),),
    windows: tuple[tuple[float, float], ...] = ((126.0, 154.0),),
    order: int = 0,
    uid: str = "1.2.826.0.1.3680043.9.1",
    began: str = "20260301090000",
    **changes: Any,
) -> Dataset:
    """Return a dynamic study; `order` seeds a shuffle of its frames, 0 keeps the standard's."""
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID = NuclearMedicineImageStorage
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID = UID(uid)
    ds.Modality, ds.ImageType = "NM", ["ORIGINAL", "PRIMARY", "DYNAMIC", "EMISSION"]
    ds.PatientName, ds.PatientID = SECRET, "QUORN-31"
    ds.PatientBirthDate, ds.PatientSex = "19480517", "M"
    ds.StudyInstanceUID, ds.SeriesInstanceUID = "1.2.826.0.1.3680043.9.7", "1.2.826.0.1.3680043.9.8"
    ds.AcquisitionDate, ds.AcquisitionTime = began[:8], began[8:]
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
    ds.Rows, ds.Columns = SHAPE
    ds.BitsAllocated = ds.BitsStored = 16
    ds.HighBit, ds.PixelRepresentation = 15, 0
    ds.PixelSpacing = [4.1, 3.9]
    rows = []
    for w in range(1, len(windows) + 1):
        for d in range(1, len(detectors) + 1):
            frame = 0
            for p, phase in enumerate(phases, 1):
                for t in range(1, phase.frames + 1):
                    rows.append((w, d, p, t, value_of(w, d, frame)))
                    frame += 1
    if order:
        rows = [rows[k] for k in np.random.default_rng(order).permutation(len(rows))]
    ds.NumberOfFrames = len(rows)
    ds.FrameIncrementPointer = [0x00540010, 0x00540020, 0x00540030, 0x00540100]
    ds.EnergyWindowVector = [row[0] for row in rows]
    ds.DetectorVector = [row[1] for row in rows]
    ds.PhaseVector = [row[2] for row in rows]
    ds.TimeSliceVector = [row[3] for row in rows]
    ds.NumberOfEnergyWindows, ds.NumberOfDetectors = len(windows), len(detectors)
    ds.NumberOfPhases = len(phases)
    ds.PixelData = b"".join(row[4].astype("<u2").tobytes() for row in rows)
    ds["PixelData"].VR = "OW"
    ds.PhaseInformationSequence = [_phase(phase) for phase in phases]
    ds.DetectorInformationSequence = [_detector(detector) for detector in detectors]
    ds.EnergyWindowInformationSequence = [_window(*limits) for limits in windows]
    given = Dataset()
    given.RadionuclideCodeSequence = [coded("72454006", "SCT")]
    given.Radiopharmaceutical = "Tc-99m Mertiatide"
    ds.RadiopharmaceuticalInformationSequence = [given]
    for keyword, value in changes.items():
        if value is None:
            delattr(ds, keyword)
        else:
            setattr(ds, keyword, value)
    return ds


def _phase(phase: PhaseOf) -> Dataset:
    item = Dataset()
    item.PhaseDelay, item.ActualFrameDuration = phase.delay, phase.duration
    item.PauseBetweenFrames, item.NumberOfFramesInPhase = phase.pause, phase.frames
    return item


def _detector(detector: DetectorOf) -> Dataset:
    item = Dataset()
    item.CollimatorType = "PARA"
    if detector.view:
        item.ViewCodeSequence = [coded(*detector.view)]
    if detector.cosines is not None:
        item.ImageOrientationPatient = list(detector.cosines)
    if detector.angle is not None:
        item.StartAngle = detector.angle
    return item


def _window(low: float, high: float) -> Dataset:
    limits = Dataset()
    limits.EnergyWindowLowerLimit, limits.EnergyWindowUpperLimit = low, high
    item = Dataset()
    item.EnergyWindowRangeSequence = [limits]
    return item


def camera_file(path: Path, **settings: Any) -> Path:
    """Write a study of `camera_dataset` and return where."""
    path.parent.mkdir(parents=True, exist_ok=True)
    dcmwrite(path, camera_dataset(**settings), enforce_file_format=True)
    return path
