"""An artificial renogram written as NM Image Storage, Image Type DYNAMIC (PS3.3 A.5)."""

from __future__ import annotations

import hashlib
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from pydicom import Dataset, dcmwrite
from pydicom.uid import UID, NuclearMedicineImageStorage

from thalweg.errors import InputError
from thalweg.exchange.dicom.write import MARK, decimal_string, study_dataset, uid_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

    from thalweg.exchange.dicom.write import InventedPerson
    from thalweg.record.renogram import DynamicImage

__all__ = ["write_dynamic"]

MOST_COUNTS: Final = 65535
"""Greatest of 16 bits."""

WINDOW_KEV: Final = (126.45, 154.55)
"""20 % about 140.5 keV, as cameras commonly are set for technetium-99m (common practice)."""

WHOLE_MS: Final = 1e-6
"""Most that a time in milliseconds may differ from the whole number that is written."""

VIEWS: Final = {
    "posterior": ("399001007", "Posterior projection"),
    "anterior": ("399321004", "Anterior projection"),
}
VECTORS: Final = (0x00540010, 0x00540020, 0x00540030, 0x00540100)
"""Energy window, detector, phase, time slice (PS3.3 table C.8-8), the last varying fastest."""


def write_dynamic(
    image: DynamicImage,
    path: Path,
    *,
    person: InventedPerson,
    study_at: datetime,
    description: str,
    seed: str,
) -> None:
    """Write an artificial renogram.

    Frames of one duration and one pause between them make a phase.

    Parameters
    ----------
    image : DynamicImage
        Marked as a phantom; whole counts from 0 to 65535; times in whole milliseconds; label
        technetium-99m.
    path : Path
        New file.
    person : InventedPerson
        Whom it names.
    study_at : datetime
        When the first frame began; timezone-aware.
    description : str
        Series description.
    seed : str
        As for `write_ct_series`.

    Raises
    ------
    ValueError
        It is no phantom, or its counts or times do not fit.
    InputError
        The file is there already.
    """
    counts = np.asarray(image.counts)
    if not image.phantom:
        raise ValueError("only artificial renograms (phantom=True) are written as DICOM")
    if counts.min() < 0 or counts.max() > MOST_COUNTS or not np.array_equal(counts, counts.round()):
        raise ValueError(f"counts must be whole, from 0 to {MOST_COUNTS}")
    if study_at.tzinfo is None:
        raise ValueError("the time of the study needs a timezone")
    phases = list(_phases(image))
    if path.exists():
        raise InputError("is there already", where=str(path), mend="name a new file")
    study = uid_of("study", seed, person.patient_id, study_at.isoformat())
    file = study_dataset(person, study_at, study, NuclearMedicineImageStorage)
    _add_series(file, description, study)
    _add_frames(file, image, phases)
    _add_detector(file, image)
    _add_label(file, image)
    content = hashlib.sha256(file.PixelData)
    content.update(repr((phases, image.view, image.left_at)).encode())
    uid = UID(uid_of("renogram", study, content.hexdigest()))
    file.SOPInstanceUID = file.file_meta.MediaStorageSOPInstanceUID = uid
    path.parent.mkdir(parents=True, exist_ok=True)
    dcmwrite(path, file, enforce_file_format=True)


def _phases(image: DynamicImage) -> Iterator[tuple[int, int, int, int]]:
    """Yield delay, duration, pause (all ms) and number of frames of each phase."""
    times_ms = np.stack([image.starts_s, image.durations_s]) * 1000.0
    if np.abs(times_ms - times_ms.round()).max() > WHOLE_MS:
        raise ValueError("DICOM writes these times in whole milliseconds")
    starts, durations = (list(map(int, row)) for row in times_ms.round())
    gaps = [0, *(b - a - d for (a, b), d in zip(pairwise(starts), durations, strict=False))]
    if min(gaps) < 0:
        raise ValueError("frames that overlap cannot be written")
    first = 0
    for at in range(1, len(starts) + 1):
        pause = gaps[first + 1] if at - first > 1 else None
        ends = at == len(starts) or durations[at] != durations[first]
        if ends or (pause is not None and gaps[at] != pause):
            yield gaps[first], durations[first], pause or 0, at - first
            first = at


def _code(value: str, meaning: str) -> Dataset:
    code = Dataset()
    code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = value, "SCT", meaning
    return code


def _add_series(file: Dataset, description: str, study: str) -> None:
    day, clock = file.StudyDate, file.StudyTime
    file.SOPClassUID = file.file_meta.MediaStorageSOPClassUID = NuclearMedicineImageStorage
    # General Series, Frame of Reference, General Equipment
    file.Modality = "NM"
    file.BodyPartExamined = "ABDOMEN"
    file.SeriesInstanceUID = uid_of("series", study, description)
    file.SeriesNumber = 1
    file.SeriesDescription = f"{description} ({MARK})"
    file.SeriesDate, file.SeriesTime = day, clock
    file.FrameOfReferenceUID = uid_of("frame of reference", study)
    file.PositionReferenceIndicator = ""
    file.Manufacturer = "Thalweg (computed, no camera)"
    # NM/PET Patient Orientation: supine, headfirst
    file.PatientOrientationCodeSequence = [_code("102538003", "recumbent")]
    file.PatientOrientationCodeSequence[0].PatientOrientationModifierCodeSequence = [
        _code("40199007", "supine")
    ]
    file.PatientGantryRelationshipCodeSequence = [_code("102540008", "headfirst")]
    # General Image, General Acquisition
    file.InstanceNumber = 1
    file.AcquisitionNumber = 1
    file.AcquisitionDate, file.AcquisitionTime = day, clock
    file.ContentDate, file.ContentTime = day, clock
    file.ImageType = ["DERIVED", "PRIMARY", "DYNAMIC", "EMISSION"]
    file.PatientOrientation = ""
    file.DerivationDescription = "Computed from an invented anatomy"
    file.ImageComments = f"{MARK}, not of a person"
    file.QualityControlImage = "YES"
    file.BurnedInAnnotation = "NO"
    file.LossyImageCompression = "00"


def _add_frames(
    file: Dataset, image: DynamicImage, phases: list[tuple[int, int, int, int]]
) -> None:
    """Add the NM Multi-frame, NM Phase, NM Image and Image Pixel modules."""
    frames, rows, columns = image.counts.shape
    file.NumberOfFrames = frames
    file.FrameIncrementPointer = list(VECTORS)
    file.EnergyWindowVector = file.DetectorVector = [1] * frames
    file.NumberOfEnergyWindows = file.NumberOfDetectors = 1
    file.NumberOfPhases = len(phases)
    file.PhaseVector = [n for n, phase in enumerate(phases, 1) for _ in range(phase[3])]
    file.TimeSliceVector = [n for phase in phases for n in range(1, phase[3] + 1)]
    file.PhaseInformationSequence = []
    for delay, duration, pause, count in phases:
        phase = Dataset()
        phase.PhaseDelay, phase.ActualFrameDuration = delay, duration
        phase.PauseBetweenFrames, phase.NumberOfFramesInPhase = pause, count
        file.PhaseInformationSequence.append(phase)
    file.CountsAccumulated = int(image.counts.sum(dtype=np.float64))
    if image.decay_corrected is not None:
        file.CorrectedImage = "DECY" if image.decay_corrected else "UNIF"
    file.SamplesPerPixel = 1
    file.PhotometricInterpretation = "MONOCHROME2"
    file.Rows, file.Columns = rows, columns
    file.BitsAllocated = file.BitsStored = 16
    file.HighBit = 15
    file.PixelRepresentation = 0
    file.PixelSpacing = [decimal_string(each) for each in image.pixel_mm] if image.pixel_mm else ""
    file.PixelData = image.counts.astype("<u2").tobytes()


def _add_detector(file: Dataset, image: DynamicImage) -> None:
    detector = Dataset()
    detector.CollimatorType = "PARA"
    detector.FocalDistance = 0
    detector.ImagePositionPatient = ""
    if image.left_at:
        along = 1 if image.left_at == "right" else -1
        detector.ImageOrientationPatient = [along, 0, 0, 0, 0, -1]
    else:
        detector.ImageOrientationPatient = ""
    if image.view in VIEWS:
        detector.ViewCodeSequence = [_code(*VIEWS[image.view])]
        detector.ViewCodeSequence[0].ViewModifierCodeSequence = []
    file.DetectorInformationSequence = [detector]


def _add_label(file: Dataset, image: DynamicImage) -> None:
    part = Dataset()
    part.EnergyWindowLowerLimit, part.EnergyWindowUpperLimit = map(decimal_string, WINDOW_KEV)
    window = Dataset()
    window.EnergyWindowName = "Tc-99m"
    window.EnergyWindowRangeSequence = [part]
    file.EnergyWindowInformationSequence = [window]
    given = Dataset()
    given.RadionuclideCodeSequence = [_code("72454006", "99m Technetium")]
    if image.tracer:
        given.Radiopharmaceutical = image.tracer
    file.RadiopharmaceuticalInformationSequence = [given]
