"""Kidneys, chemistry and fitness: findings from facts."""
