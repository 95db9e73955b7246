"""Put the plan together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.sheets.document import Document
from thalweg.sheets.plan.anatomy import (
    kidney_section,
    reach_section,
    sites_section,
    ureter_section,
)
from thalweg.sheets.plan.chemistry import chemistry_section
from thalweg.sheets.plan.choice import calendar_section, diversion_sections, sources_section
from thalweg.sheets.plan.fitness import fitness_section
from thalweg.sheets.plan.kidneys import kidney_course_section
from thalweg.sheets.plan.lifecourse import lifecourse_section
from thalweg.sheets.plan.person import at_a_glance, facts_section
from thalweg.sheets.plan.preferences import preferences_section
from thalweg.sheets.plan.published import published_section
from thalweg.sheets.plan.radiograph import radiograph_section
from thalweg.sheets.plan.renogram import renogram_section
from thalweg.sheets.plan.words import WARNING
from thalweg.sheets.plan.workup import workup_sections

if TYPE_CHECKING:
    from thalweg.sheets.plan.content import PlanContent

__all__ = ["plan_document"]


def plan_document(content: PlanContent) -> Document:
    """Return the plan as a document.

    Parameters
    ----------
    content : PlanContent

    Returns
    -------
    Document
        At a glance; what the work-up lacks; kidneys, and over time; each renogram; acid-base;
        fitness and contrast; each ureter; reach; sites; what matters to the person;
        what was published; every diversion; calendar; what is on record; sources.
    """
    person = content.case.person
    phantom = any(image.phantom for image in content.case.images)
    subtitle = f"{person.name}, born {person.born.isoformat()}, number {person.reference}"
    if phantom:
        subtitle += " · made on an artificial image (phantom): for demonstration only"
    own = " · in part by this unit's own protocol" if content.notices else ""
    return Document(
        title="Plan for urinary diversion",
        subtitle=subtitle,
        running=f"Case {content.case.id} · {person.reference} · {content.at.isoformat()}{own}",
        warning=WARNING,
        made_on=content.at.isoformat(),
        sections=(
            at_a_glance(content),
            *workup_sections(content.completeness),
            kidney_section(content),
            *kidney_course_section(content.kidney_course, content.decline),
            *(renogram_section(n, study) for n, study in enumerate(content.renograms, 1)),
            *([chemistry_section(content.case, content.chemistry)] if content.chemistry else []),
            fitness_section(content),
            *(ureter_section(ureter) for ureter in content.ureters),
            *(radiograph_section(n, film) for n, film in enumerate(content.radiographs, 1)),
            reach_section(content),
            sites_section(content),
            *preferences_section(content.preferences),
            *published_section(content.published),
            *([lifecourse_section(content.lives)] if content.lives else []),
            *diversion_sections(content),
            calendar_section(content),
            facts_section(content),
            sources_section(content),
        ),
    )
