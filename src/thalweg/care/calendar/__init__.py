"""The lifelong calendar of follow-up after a urinary diversion."""

from thalweg.care.calendar.appointments import Appointment, appointments_of
from thalweg.care.calendar.conditions import CONDITIONS, DIVERSIONS, conditions_of
from thalweg.care.calendar.findings import finding_of, finding_of_undecided, findings_of, method_of
from thalweg.care.calendar.layout import calendar_of, lay_out
from thalweg.care.calendar.offset import Offset
from thalweg.care.calendar.rule import Rule, calendar_rules, our_rules, read_rules
from thalweg.care.calendar.visit import Calendar, Undecided, Visit, VisitGroup

__all__ = [
    "CONDITIONS",
    "DIVERSIONS",
    "Appointment",
    "Calendar",
    "Offset",
    "Rule",
    "Undecided",
    "Visit",
    "VisitGroup",
    "appointments_of",
    "calendar_of",
    "calendar_rules",
    "conditions_of",
    "finding_of",
    "finding_of_undecided",
    "findings_of",
    "lay_out",
    "method_of",
    "our_rules",
    "read_rules",
]
