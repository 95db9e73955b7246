"""FHIR R4 in and out: laboratory results and measurements as facts, facts as a bundle.

Only what is needed of Patient, Observation and Specimen is decoded, entry by entry, so that
whatever else a sender adds does not stand in the way (HL7 FHIR R4, hl7.org/fhir/R4).
"""

from thalweg.exchange.fhir.read import read_fhir
from thalweg.exchange.fhir.write import write_bundle

__all__ = ["read_fhir", "write_bundle"]
