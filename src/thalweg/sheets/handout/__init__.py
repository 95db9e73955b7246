"""What the person takes home: the sheet for the talk, and a leaflet for each option."""

from thalweg.sheets.handout.consent import consent_document
from thalweg.sheets.handout.content import HandoutContent, Option
from thalweg.sheets.handout.leaflet import leaflet_document

__all__ = ["HandoutContent", "Option", "consent_document", "leaflet_document"]
