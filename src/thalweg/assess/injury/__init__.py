"""Acute kidney injury: its stage by creatinine and by urine output, moment by moment."""
