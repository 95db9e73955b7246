"""Kidney function: filtration rate by published equations, and which of them to rely on."""
