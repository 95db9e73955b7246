"""Measuring on images: courses, calibres, skin and wall."""
