"""Fitness for the operation: published scores, item by item, and the safety of contrast."""
