"""Thalweg: measure, plan, care for and account for urinary diversion.

The floors of the house are described in ``docs/architecture.md``.
"""

from importlib.metadata import version

__version__ = version("thalweg")
__all__ = ["__version__"]
