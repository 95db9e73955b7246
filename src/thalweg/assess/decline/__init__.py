"""Decline of the filtration rate over years: slope, break, and when a limit would be crossed."""
