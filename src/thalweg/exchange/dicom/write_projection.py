"""An artificial radiograph written as a Digital X-Ray Image (PS3.3 A.26), marked as artificial."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np
from pydicom import Dataset, dcmwrite
from pydicom.uid import UID, DigitalXRayImageStorageForPresentation

from thalweg.errors import InputError
from thalweg.exchange.dicom.write import MARK, decimal_string, study_dataset, uid_of

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from thalweg.exchange.dicom.write import InventedPerson
    from thalweg.record.radiograph import Radiograph

__all__ = ["write_radiograph"]

WHITEST = 4095
"""Greatest of 12 bits, as detectors commonly store."""


def write_radiograph(
    radiograph: Radiograph,
    path: Path,
    *,
    person: InventedPerson,
    study_at: datetime,
    description: str,
    seed: str,
) -> None:
    """Write an artificial radiograph, frontal, seen from before the person.

    Parameters
    ----------
    radiograph : Radiograph
        Marked as a phantom; whole grey values from 0 to 4095, with the spacing at the detector.
    path : Path
        New file.
    person : InventedPerson
        Whom it names.
    study_at : datetime
        Timezone-aware.
    description : str
        Series description.
    seed : str
        As for `write_ct_series`.

    Raises
    ------
    ValueError
        It is no phantom, states no detector spacing, or its grey values do not fit.
    InputError
        The file is there already.
    """
    grey = radiograph.values
    if not radiograph.phantom or radiograph.detector_spacing_mm is None:
        raise ValueError("only artificial radiographs with a detector spacing are written")
    if grey.min() < 0 or grey.max() > WHITEST or not np.array_equal(grey, np.rint(grey)):
        raise ValueError(f"grey values must be whole, from 0 to {WHITEST}")
    if study_at.tzinfo is None:
        raise ValueError("the time of the study needs a timezone")
    if path.exists():
        raise InputError("is there already", where=str(path), mend="name a new file")
    study = uid_of("study", seed, person.patient_id, study_at.isoformat())
    image = study_dataset(person, study_at, study)
    _add_series(image, description, study)
    _add_picture(image, radiograph)
    _add_scale(image, radiograph)
    content = hashlib.sha256(image.PixelData)
    content.update(repr((radiograph.detector_spacing_mm, radiograph.object_spacing_mm)).encode())
    uid = UID(uid_of("radiograph", study, content.hexdigest()))
    image.SOPInstanceUID = image.file_meta.MediaStorageSOPInstanceUID = uid
    path.parent.mkdir(parents=True, exist_ok=True)
    dcmwrite(path, image, enforce_file_format=True)


def _code(value: str, scheme: str, meaning: str) -> Dataset:
    code = Dataset()
    code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = value, scheme, meaning
    return code


def _add_series(image: Dataset, description: str, study: str) -> None:
    day, clock = image.StudyDate, image.StudyTime
    kind = DigitalXRayImageStorageForPresentation
    image.SOPClassUID = image.file_meta.MediaStorageSOPClassUID = kind
    # General Series, DX Series
    image.Modality = "DX"
    image.PresentationIntentType = "FOR PRESENTATION"
    image.SeriesInstanceUID = uid_of("series", study, description)
    image.SeriesNumber = 1
    image.SeriesDescription = f"{description} ({MARK})"
    image.SeriesDate, image.SeriesTime = day, clock
    image.BodyPartExamined = "ABDOMEN"
    image.Manufacturer = "Thalweg (computed, no detector)"
    # General Image, General Acquisition
    image.InstanceNumber = 1
    image.AcquisitionNumber = 1
    image.AcquisitionDate, image.AcquisitionTime = day, clock
    image.ContentDate, image.ContentTime = day, clock
    image.ImageType = ["DERIVED", "PRIMARY", ""]
    image.DerivationDescription = "Computed from an invented anatomy"
    image.ImageComments = f"{MARK}, not of a person"
    image.QualityControlImage = "YES"
    image.BurnedInAnnotation = "NO"
    image.LossyImageCompression = "00"
    # DX Anatomy Imaged, DX Positioning
    image.ImageLaterality = "U"
    image.AnatomicRegionSequence = [_code("818983003", "SCT", "Abdomen")]
    image.PatientOrientation = ["L", "F"]
    image.ViewCodeSequence = [_code("399348003", "SCT", "antero-posterior")]
    image.ViewCodeSequence[0].ViewModifierCodeSequence = []
    image.ViewPosition = "AP"
    image.PositionerType = ""
    image.AcquisitionContextSequence = []


def _add_picture(image: Dataset, radiograph: Radiograph) -> None:
    image.SamplesPerPixel = 1
    image.PhotometricInterpretation = "MONOCHROME2"
    image.Rows, image.Columns = radiograph.shape
    image.BitsAllocated, image.BitsStored, image.HighBit = 16, 12, 11
    image.PixelRepresentation = 0
    # DX Image: values already as they are to be shown
    image.PixelIntensityRelationship = "LOG"
    image.PixelIntensityRelationshipSign = -1
    image.RescaleIntercept, image.RescaleSlope = 0, 1
    image.RescaleType = "US"
    image.PresentationLUTShape = "IDENTITY"
    image.WindowCenter, image.WindowWidth = (WHITEST + 1) // 2, WHITEST + 1
    image.PixelData = radiograph.values.astype("<u2").tobytes()


def _add_scale(image: Dataset, radiograph: Radiograph) -> None:
    image.DetectorType = "DIRECT"
    spacing = [decimal_string(each) for each in radiograph.detector_spacing_mm or ()]
    image.ImagerPixelSpacing = spacing
    if radiograph.object_spacing_mm:
        image.PixelSpacing = [decimal_string(each) for each in radiograph.object_spacing_mm]
        if radiograph.object_kind:
            image.PixelSpacingCalibrationType = radiograph.object_kind
            image.PixelSpacingCalibrationDescription = "At the depth of the invented ureter"
    if radiograph.source_detector_mm:
        image.DistanceSourceToDetector = decimal_string(radiograph.source_detector_mm)
    if radiograph.magnification:
        factor = decimal_string(radiograph.magnification)
        image.EstimatedRadiographicMagnificationFactor = factor
