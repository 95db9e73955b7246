"""Completeness of the work-up: what is done, missing, too old, and what each could change."""
