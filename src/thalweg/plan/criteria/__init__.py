"""Criteria kept as data: what must hold, judged three-valued against a case."""
