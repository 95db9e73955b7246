"""An artificial CT or MR volume written as a series of CT or MR Image Storage.

Only artificial images are written; the scanner's own files stay the record of a real examination.
They are marked as artificial in the standard's own attributes: Quality Control Image (0028,0300)
and Quality Control Subject (0010,0200) are YES ("quality control phantom", PS3.3 C.7.6.1 and
C.7.1.1), which is what the reader goes by; Image Type is DERIVED, and Series Description and Image
Comments say it in words.
"""

from __future__ import annotations

import hashlib
import shutil
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from pydicom import Dataset, dcmwrite
from pydicom.dataset import FileMetaDataset
from pydicom.uid import UID, CTImageStorage, ExplicitVRLittleEndian, MRImageStorage
from pydicom.valuerep import DSfloat

from thalweg.errors import InputError
from thalweg.progress import Progress, silent

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime
    from pathlib import Path

    from thalweg.record.image import ImageVolume

__all__ = [
    "MARK",
    "InventedPerson",
    "decimal_string",
    "study_dataset",
    "uid_of",
    "write_ct_series",
    "write_mr_series",
]

NAMESPACE: Final = uuid.UUID("5a6f1c1e-7d0b-5c9e-9d57-7b1f0a3c2d44")
"""Root of the name-based UUIDs (RFC 9562 version 5) that become UIDs under 2.25 (PS3.5 B.2)."""

SQUARE_TOLERANCE: Final = 1e-9
"""Most that the cosine between row and column direction may differ from 0."""

STORAGE: Final = {"CT": CTImageStorage, "MR": MRImageStorage}

MARK: Final = "phantom: artificial image"
LONG_STRING: Final = 64  # characters, VR LO of PS3.5 section 6.2


@dataclass(frozen=True, slots=True)
class InventedPerson:
    """A person who does not exist, for artificial images.

    Parameters
    ----------
    patient_id : str
        1 to 64 characters.
    name : str
        In DICOM form, family^given.
    born : date or None
        Date of birth.
    sex : str
        ``"F"``, ``"M"``, ``"O"`` or empty.
    """

    patient_id: str
    name: str
    born: date | None
    sex: str


def write_ct_series(
    volume: ImageVolume,
    folder: Path,
    *,
    person: InventedPerson,
    study_at: datetime,
    description: str,
    seed: str,
    series_number: int = 1,
    body_part: str = "ABDOMEN",
    progress: Progress = silent,
) -> list[Path]:
    """Write an artificial CT volume as one file per plane.

    Parameters
    ----------
    volume : ImageVolume
        int16 Hounsfield units, modality CT, marked as a phantom; rows and columns at right
        angles. The plane step may lean (sheared stack).
    folder : Path
        New or empty folder; it appears whole or not at all.
    person : InventedPerson
        Who the files name.
    study_at : datetime
        When the images were acquired; timezone-aware.
    description : str
        Series description, at most 37 characters (the mark is put after it).
    seed : str
        Series with equal seed, person and time share a study and a frame of reference. Equal
        input gives equal bytes.
    series_number : int, optional
        Number of the series in its study.
    body_part : str, optional
        Body Part Examined, a defined term of PS3.16 Annex L.
    progress : Progress, optional
        Told after every plane.

    Returns
    -------
    list of Path
        The files, in the order of the volume's planes; their names follow no order.

    Raises
    ------
    ValueError
        The volume is no phantom CT in int16, its rows and columns are not at right angles, the
        time has no timezone, or a text is too long.
    InputError
        The folder already holds something.
    """
    _require_writable(volume, person, study_at, description, "CT")
    return _written(
        volume,
        folder,
        person,
        study_at,
        description=description,
        seed=seed,
        series_number=series_number,
        body_part=body_part,
        progress=progress,
    )


def write_mr_series(
    volume: ImageVolume,
    folder: Path,
    *,
    person: InventedPerson,
    study_at: datetime,
    description: str,
    seed: str,
    series_number: int = 1,
    body_part: str = "ABDOMEN",
    progress: Progress = silent,
) -> list[Path]:
    """Write an artificial MR volume of int16 signal, 0 or more; otherwise as `write_ct_series`.

    No scanner acquired it: echo and repetition time, which the standard lets stand empty, do.
    """
    _require_writable(volume, person, study_at, description, "MR")
    if volume.values.min() < 0:
        raise ValueError("an MR magnitude is 0 or more")
    return _written(
        volume,
        folder,
        person,
        study_at,
        description=description,
        seed=seed,
        series_number=series_number,
        body_part=body_part,
        progress=progress,
    )


def _written(
    volume: ImageVolume,
    folder: Path,
    person: InventedPerson,
    study_at: datetime,
    *,
    description: str,
    seed: str,
    series_number: int,
    body_part: str,
    progress: Progress,
) -> list[Path]:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError("is already in use", where=str(folder), mend="name a new or empty folder")
    series = _series_dataset(
        volume,
        person,
        study_at,
        description=description,
        seed=seed,
        series_number=series_number,
        body_part=body_part,
    )
    uids = [UID(uid_of(series.SeriesInstanceUID, index)) for index in range(volume.shape[0])]
    shuffled = sorted(range(len(uids)), key=lambda index: uids[index])
    names = {index: f"{place:08d}.dcm" for place, index in enumerate(shuffled, start=1)}

    def write_all(target: Path) -> None:
        for index, uid in enumerate(uids):
            _add_plane(series, volume, uid, index)
            dcmwrite(target / names[index], series, enforce_file_format=True)
            progress("writing images", index + 1, len(uids))

    _whole_or_nothing(folder, write_all)
    return [folder / names[index] for index in range(len(uids))]


def _require_writable(
    volume: ImageVolume,
    person: InventedPerson,
    study_at: datetime,
    description: str,
    modality: str,
) -> None:
    if not volume.phantom:
        raise ValueError("only artificial images (phantom=True) are written as DICOM")
    if volume.modality != modality or volume.values.dtype != np.int16:
        unit = "Hounsfield units" if modality == "CT" else "signal"
        raise ValueError(f"{modality} series are written from a volume of that kind, int16 {unit}")
    if study_at.tzinfo is None:
        raise ValueError("the time of the study needs a timezone")
    if not 1 <= len(person.patient_id) <= LONG_STRING:
        raise ValueError(f"the patient ID must have 1 to {LONG_STRING} characters")
    if len(f"{description} ({MARK})") > LONG_STRING:
        raise ValueError(
            f"the series description has more than {LONG_STRING - len(MARK) - 3} characters"
        )
    row, column = volume.to_lps[:3, 2], volume.to_lps[:3, 1]
    if abs(row @ column) > SQUARE_TOLERANCE * np.linalg.norm(row) * np.linalg.norm(column):
        raise ValueError("DICOM planes need rows and columns at right angles")


def uid_of(*parts: object) -> str:
    """Return a UID that is always the same for the same parts."""
    return f"2.25.{uuid.uuid5(NAMESPACE, '|'.join(map(str, parts))).int}"


def study_dataset(
    person: InventedPerson, study_at: datetime, study_uid: str, storage: UID = CTImageStorage
) -> Dataset:
    """Return the attributes of file, person and study."""
    shared = Dataset()
    shared.file_meta = FileMetaDataset()
    shared.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    shared.file_meta.ImplementationClassUID = UID(uid_of("implementation"))
    shared.file_meta.ImplementationVersionName = "THALWEG"
    # SOP Common
    shared.SpecificCharacterSet = "ISO_IR 192"
    shared.SOPClassUID = storage
    shared.TimezoneOffsetFromUTC = study_at.strftime("%z")[:5]
    # Patient
    shared.PatientName = person.name
    shared.PatientID = person.patient_id
    shared.PatientBirthDate = person.born.strftime("%Y%m%d") if person.born else ""
    shared.PatientSex = person.sex
    shared.QualityControlSubject = "YES"
    # General Study
    shared.StudyInstanceUID = study_uid
    shared.StudyDate = study_at.strftime("%Y%m%d")
    shared.StudyTime = study_at.strftime("%H%M%S")
    shared.ReferringPhysicianName = ""
    shared.StudyID = "1"
    shared.AccessionNumber = ""
    return shared


def _series_dataset(
    volume: ImageVolume,
    person: InventedPerson,
    study_at: datetime,
    *,
    description: str,
    seed: str,
    series_number: int,
    body_part: str,
) -> Dataset:
    """Return the attributes that all planes share, module by module (PS3.3 A.3)."""
    study_uid = uid_of("study", seed, person.patient_id, study_at.isoformat())
    shared = study_dataset(person, study_at, study_uid, STORAGE[volume.modality])
    content = hashlib.sha256(np.ascontiguousarray(volume.values).data)
    content.update(np.ascontiguousarray(volume.to_lps).data)
    day, clock = shared.StudyDate, shared.StudyTime
    # General Series
    shared.Modality = volume.modality
    shared.SeriesInstanceUID = uid_of("series", study_uid, description, content.hexdigest())
    shared.SeriesNumber = series_number
    shared.SeriesDescription = f"{description} ({MARK})"
    shared.SeriesDate, shared.SeriesTime = day, clock
    shared.BodyPartExamined = body_part
    shared.PatientPosition = "HFS"
    # Frame of Reference
    shared.FrameOfReferenceUID = uid_of("frame of reference", study_uid)
    shared.PositionReferenceIndicator = ""
    # General Equipment
    shared.Manufacturer = "Thalweg (computed, no scanner)"
    # General Acquisition and General Image
    shared.AcquisitionNumber = 1
    shared.AcquisitionDate, shared.AcquisitionTime = day, clock
    shared.ContentDate, shared.ContentTime = day, clock
    shared.DerivationDescription = "Computed from an invented anatomy"
    shared.ImageComments = f"{MARK}, not of a person"
    shared.QualityControlImage = "YES"
    shared.BurnedInAnnotation = "NO"
    shared.LossyImageCompression = "00"
    # Image Plane
    _add_geometry(shared, volume)
    # Image Pixel
    shared.SamplesPerPixel = 1
    shared.PhotometricInterpretation = "MONOCHROME2"
    shared.Rows, shared.Columns = volume.shape[1:]
    shared.BitsAllocated = shared.BitsStored = 16
    shared.HighBit = 15
    shared.PixelRepresentation = 1
    if volume.modality == "CT":
        _add_ct_image(shared)
    else:
        _add_mr_image(shared, volume)
    return shared


def _add_ct_image(shared: Dataset) -> None:
    """Add the CT Image (PS3.3 C.8.2.1) and VOI LUT modules."""
    shared.ImageType = ["DERIVED", "SECONDARY", "AXIAL"]
    shared.RescaleIntercept, shared.RescaleSlope = 0, 1
    shared.RescaleType = "HU"
    shared.KVP = None
    shared.WindowCenter, shared.WindowWidth = 40, 400


def _add_mr_image(shared: Dataset, volume: ImageVolume) -> None:
    """Add the MR Image (PS3.3 C.8.3.1) and VOI LUT modules.

    Scanning Sequence and Variant must name something: a spoiled gradient echo, what the tissues'
    signal is like.
    """
    shared.ImageType = ["DERIVED", "SECONDARY", "OTHER"]
    shared.ScanningSequence, shared.SequenceVariant = "GR", "SP"
    shared.ScanOptions = "FS"
    shared.MRAcquisitionType = "3D"
    shared.RepetitionTime = shared.EchoTime = shared.EchoTrainLength = None
    high = max(int(np.percentile(volume.values, 99.9)), 2)
    shared.WindowCenter, shared.WindowWidth = high // 2, high


def decimal_string(value: float) -> DSfloat:
    """Return a number in the 16 characters that VR DS allows, as exact as they can be."""
    return DSfloat(float(value) + 0.0, auto_format=True)  # + 0.0 turns -0.0 into 0.0


def _add_geometry(shared: Dataset, volume: ImageVolume) -> None:
    column, row = volume.to_lps[:3, 1], volume.to_lps[:3, 2]
    directions = [*(row / np.linalg.norm(row)), *(column / np.linalg.norm(column))]
    shared.ImageOrientationPatient = [decimal_string(cosine) for cosine in directions]
    shared.PixelSpacing = [decimal_string(float(gap)) for gap in volume.spacing_mm[1:]]
    normal = np.cross(directions[:3], directions[3:])
    shared.SliceThickness = decimal_string(abs(float(volume.to_lps[:3, 0] @ normal)))


def _add_plane(shared: Dataset, volume: ImageVolume, uid: UID, index: int) -> None:
    """Set what belongs to one plane."""
    shared.file_meta.MediaStorageSOPClassUID = shared.SOPClassUID
    shared.file_meta.MediaStorageSOPInstanceUID = uid
    shared.SOPInstanceUID = uid
    shared.InstanceNumber = index + 1
    corner = volume.point_of([index, 0, 0])
    shared.ImagePositionPatient = [decimal_string(coordinate) for coordinate in corner]
    shared.PixelData = volume.values[index].astype("<i2").tobytes()


def _whole_or_nothing(folder: Path, write_all: Callable[[Path], None]) -> None:
    """Let `write_all` fill a folder beside the target, then put it in the target's place."""
    part = folder.with_name(f".{folder.name}.{uuid.uuid4().hex}")
    part.mkdir(parents=True)
    try:
        write_all(part)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
