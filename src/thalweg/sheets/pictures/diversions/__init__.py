"""Diagrams of the diversions, drawn from code for the people who live with them."""

from thalweg.sheets.pictures.diversions.picture import DIAGRAMS, Diagram, diversion_picture
from thalweg.sheets.pictures.diversions.wording import ENGLISH, english

__all__ = ["DIAGRAMS", "ENGLISH", "Diagram", "diversion_picture", "english"]
