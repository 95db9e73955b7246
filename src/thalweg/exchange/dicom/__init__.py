"""DICOM in and out: a folder of slices as one volume, a radiograph, a renogram; and all written.

Importing this package imports pydicom; callers that start up fast import it where they use it.
"""

from thalweg.exchange.dicom.headers import PatientKeys
from thalweg.exchange.dicom.nuclear import read_dynamic
from thalweg.exchange.dicom.nuclear_read import ReadDynamic
from thalweg.exchange.dicom.pixels import read_volume
from thalweg.exchange.dicom.projection import ReadRadiograph, read_radiograph
from thalweg.exchange.dicom.series import SeriesSurvey, survey
from thalweg.exchange.dicom.write import InventedPerson, write_ct_series, write_mr_series
from thalweg.exchange.dicom.write_nuclear import write_dynamic
from thalweg.exchange.dicom.write_projection import write_radiograph

__all__ = [
    "InventedPerson",
    "PatientKeys",
    "ReadDynamic",
    "ReadRadiograph",
    "SeriesSurvey",
    "read_dynamic",
    "read_radiograph",
    "read_volume",
    "survey",
    "write_ct_series",
    "write_dynamic",
    "write_mr_series",
    "write_radiograph",
]
