"""The plan that a surgeon carries: one document from everything worked out for one person."""

from thalweg.sheets.plan.content import PlanContent, PlannedUreter
from thalweg.sheets.plan.document import plan_document
from thalweg.sheets.plan.radiograph import PlannedRadiograph
from thalweg.sheets.plan.second_phase import PlannedPhase

__all__ = ["PlanContent", "PlannedPhase", "PlannedRadiograph", "PlannedUreter", "plan_document"]
