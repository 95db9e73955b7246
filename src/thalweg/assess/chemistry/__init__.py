"""Acid-base and electrolytes: what the numbers say, and what bowel touched by urine would do."""
