"""Reach, diversions and what is open to this person."""
