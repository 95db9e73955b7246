"""Open standards in and out: DICOM, FHIR, iCalendar, tables."""
