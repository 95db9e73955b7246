"""The sheets for the person: one for the talk, and a leaflet for each option that is not closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.evidence.figures import figures_for
from thalweg.evidence.pool_groups import pool_rules
from thalweg.evidence.pooling import METHODS_TABLE, pool_settings
from thalweg.plan.catalogue import catalogue
from thalweg.record.case import age_in_years
from thalweg.sheets.handout import HandoutContent, Option, consent_document, leaflet_document
from thalweg.sheets.pictures.diversions import DIAGRAMS
from thalweg.sheets.plan.diagrams import stoma_place

if TYPE_CHECKING:
    from collections.abc import Mapping

    from thalweg.plan.appraised import Appraised
    from thalweg.service.protocol import Protocol
    from thalweg.sheets.document import Document
    from thalweg.sheets.messages import Wording
    from thalweg.sheets.plan import PlanContent

__all__ = ["handout_content", "handouts"]


def handout_content(content: PlanContent, protocol: Protocol) -> HandoutContent:
    """Return what the sheet for the talk says of a plan."""
    grown = catalogue(protocol.table("catalogue")).adult_from_years
    adult = age_in_years(content.case.person.born, content.at) >= grown
    options = tuple(
        _option(row, content, protocol, adult=adult)
        for row in content.appraisal.diversions
        if row.verdict != "closed"
    )
    return HandoutContent(
        content.case, content.at, content.appraisal, options, adult, content.notices
    )


def _option(row: Appraised, content: PlanContent, protocol: Protocol, *, adult: bool) -> Option:
    key = row.diversion.key
    figures = figures_for(
        key,
        population="adult" if adult else "child",
        rules=pool_rules(protocol.table("pooling")),
        settings=pool_settings(protocol.table(METHODS_TABLE)),
    )
    if key not in DIAGRAMS:
        return Option(row, figures)
    side, place, _ = stoma_place(content, key)
    return Option(row, figures, side, place, example=len(content.sites) > 1)


def handouts(content: PlanContent, protocol: Protocol, words: Wording) -> Mapping[str, Document]:
    """Return each sheet for the person by the name of its file.

    Parameters
    ----------
    content : PlanContent
    protocol : Protocol
    words : Wording
        Of the person's language.

    Returns
    -------
    mapping
        ``consent-ID`` and, for each option that is not closed, ``leaflet-DIVERSION``, which names
        nobody.
    """
    said = handout_content(content, protocol)
    made = {f"consent-{content.case.id}": consent_document(said, words)}
    for option in said.options:
        # The leaflet is of the diversion, not of the person: the usual place of the stoma.
        general = Option(option.row, option.figures)
        made[f"leaflet-{option.key}"] = leaflet_document(
            general, words, at=content.at, adult=said.adult
        )
    return made
