"""The nearest change that would open a closed option, found and then tried."""

from thalweg.plan.nearest.find import Nearest, nearest_changes
from thalweg.plan.nearest.step import Step

__all__ = ["Nearest", "Step", "nearest_changes"]
