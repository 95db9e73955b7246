"""Conditions kept as data: what must hold, judged three-valued on facts and findings."""
