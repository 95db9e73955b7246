"""What every assessment asks of its facts: their day, the youngest, and an amount in a unit."""

from thalweg.record.reckon import amount, day_of, youngest

__all__ = ["amount", "day_of", "youngest"]
