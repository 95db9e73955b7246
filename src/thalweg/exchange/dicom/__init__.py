"""DICOM in and out: a folder of slices as one volume, and a volume as a series.

Importing this package imports pydicom; callers that start up fast import it where they use it.
"""

from thalweg.exchange.dicom.headers import PatientKeys
from thalweg.exchange.dicom.pixels import read_volume
from thalweg.exchange.dicom.series import SeriesSurvey, survey
from thalweg.exchange.dicom.write import InventedPerson, write_ct_series

__all__ = [
    "InventedPerson",
    "PatientKeys",
    "SeriesSurvey",
    "read_volume",
    "survey",
    "write_ct_series",
]
