"""A case's renograms, analysed anew from the files on record each time the case is worked up."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from thalweg.assess.kidney.shares import SHARE
from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.rules import RENOGRAM_TABLE, renogram_rules
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.casefile.renograms import RENOGRAM, is_of_renogram
from thalweg.record.case import age_in_years
from thalweg.record.fact import moment_key, say_moment
from thalweg.record.truth import Truth
from thalweg.service.protocol import read_protocol
from thalweg.service.renogram import AnalysedRenogram, analyse
from thalweg.service.renogram_files import read_renogram
from thalweg.service.renograms import seconds_of, stated_of
from thalweg.sheets.plan.renogram import PlannedRenogram

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from pathlib import Path

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact, Moment
    from thalweg.record.finding import Finding
    from thalweg.sheets.document import Picture
    from thalweg.store.store import Store

__all__ = [
    "RenogramsOfCase",
    "WorkedRenogram",
    "computed_shares",
    "own_renogram_rules",
    "planned_renograms",
    "renograms_of_case",
    "worked_renograms",
]

COMPUTED: Final = "renogram-share-left"
ONLY: Final = {"left only": "left", "right only": "right"}


@dataclass(frozen=True, eq=False)
class WorkedRenogram:
    """One renogram of a case, analysed, or why not.

    Parameters
    ----------
    label : str
        Name of its file in the case folder.
    at : date or aware datetime
    analysed : AnalysedRenogram or None
    findings : tuple of Finding
        Resting on everything that the record says of the study.
    pictures : tuple of Picture
        Curves, and uptake where there are pictures; empty where nothing is drawn.
    problem : str
        Why it was not analysed.
    """

    label: str
    at: Moment
    analysed: AnalysedRenogram | None = None
    findings: tuple[Finding, ...] = field(default=())
    pictures: tuple[Picture, ...] = ()
    problem: str = ""


def worked_renograms(
    case: Case, store: Store, *, rules: Rules, drawn: bool, at: date
) -> tuple[WorkedRenogram, ...]:
    """Return every renogram of a case, oldest first; one that fails stops no other.

    Parameters
    ----------
    case : Case
        As known on `at`.
    store : Store
        Holds the files.
    rules : Rules
        Windows, doubts and criteria.
    drawn : bool
        Whether to make the pictures.
    at : date
        For a renogram whose file is in dispute.
    """
    found = [_worked(case, store, label, rules, drawn, at) for label in case.labels(RENOGRAM)]
    return tuple(sorted(found, key=lambda one: (moment_key(one.at), one.label)))


@dataclass(frozen=True, eq=False)
class RenogramsOfCase:
    """Every renogram on record of one case, oldest first."""

    case_id: str
    studies: tuple[WorkedRenogram, ...]

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        lines: list[str] = []
        for study in self.studies:
            done = study.analysed
            lines += [f"{study.label}:"]
            lines += [f"! {study.problem}"] if done is None else done.lines()
            lines.append("")
        return lines

    def to_json(self) -> dict[str, Any]:
        """Return each study's numbers, and all findings."""
        return {
            "case": self.case_id,
            "renograms": [
                {
                    "label": study.label,
                    "date": say_moment(study.at),
                    "problem": study.problem or None,
                    **({} if study.analysed is None else study.analysed.to_json()),
                }
                for study in self.studies
            ],
            "findings": [one.to_json(cite) for study in self.studies for one in study.findings],
        }


def renograms_of_case(
    case_id: str, store: Store, *, at: date, protocol: Path | None = None
) -> RenogramsOfCase:
    """Analyse every renogram on record of a case.

    Parameters
    ----------
    case_id : str
    store : Store
    at : date
        With what was known on this day.
    protocol : Path, optional
        Folder of the unit's own rules.

    Raises
    ------
    InputError
        If there is no such case, or it holds no renogram.
    """
    rules = renogram_rules(read_protocol(protocol).table(RENOGRAM_TABLE))
    case = store.get_case(case_id).known_on(at)
    studies = worked_renograms(case, store, rules=rules, drawn=False, at=at)
    if not studies:
        raise InputError(
            f"no renogram is on record of it by {at.isoformat()}",
            where=f"case {case_id}",
            mend="name one in [[renogram]] of its case.toml and take the folder in again",
        )
    return RenogramsOfCase(case_id, studies)


def computed_shares(renograms: Sequence[WorkedRenogram]) -> tuple[Finding, ...]:
    """Return the left kidney's share by each renogram that gives one."""
    return tuple(one for each in renograms for one in each.findings if one.name == COMPUTED)


def planned_renograms(renograms: Sequence[WorkedRenogram]) -> tuple[PlannedRenogram, ...]:
    """Return what the plan shows of each renogram."""
    return tuple(
        PlannedRenogram(
            one.label,
            one.at,
            None if one.analysed is None else one.analysed.result,
            one.findings,
            one.pictures,
            () if one.analysed is None else one.analysed.read.cautions,
            one.problem,
        )
        for one in renograms
    )


def own_renogram_rules(renograms: Sequence[WorkedRenogram]) -> tuple[str, ...]:
    """Return which rules of renograms the unit's own protocol replaced, where any was used."""
    notices = [one.analysed.notice for one in renograms if one.analysed is not None]
    return tuple(dict.fromkeys(filter(None, notices)))


def _worked(
    case: Case, store: Store, label: str, rules: Rules, drawn: bool, at: date
) -> WorkedRenogram:
    chosen = case.latest(RENOGRAM, label=label)
    named = chosen.fact
    if named is None:
        return WorkedRenogram(label, at, problem=chosen.caution)
    try:
        facts = _facts(case, label)
        read = read_renogram(_files(case, store, str(named.value)), stated_of(facts))
        study = read.renogram
        if not study.acquired:
            # An undated table was dated by whoever named it.
            study = replace(study, acquired=named.at.isoformat())
            read = replace(read, renogram=study)
        done = analyse(read, _circumstances(case, facts, named), rules)
    except InputError as refused:
        told = f"The renogram {label!r} was not analysed: {refused}"
        return WorkedRenogram(label, named.at, problem=told)
    pictures: list[Picture] = []
    if drawn:
        pictures.append(done.curves_picture("svg"))
        if read.image is not None:
            pictures.append(done.uptake_picture("svg"))
    return WorkedRenogram(label, named.at, done, done.result.findings, tuple(pictures))


def _facts(case: Case, label: str) -> list[Fact]:
    """Return what answers every concept of one renogram.

    Raises
    ------
    InputError
        If two different values are recorded of one.
    """
    own = [fact for fact in case.facts if is_of_renogram(fact) and fact.label == label]
    answers = []
    for concept in dict.fromkeys(fact.concept for fact in own):
        chosen = case.latest(concept, label=label)
        if chosen.fact is None:
            raise InputError(chosen.caution.rstrip("."), mend="withdraw the wrong one")
        answers.append(chosen.fact)
    return answers


def _files(case: Case, store: Store, identity: str) -> tuple[Path, ...]:
    record = next((one for one in case.images if one.series_uid == identity), None)
    if record is None:
        raise InputError("its file is not on record", mend="take its folder in again")
    return tuple(store.image_files(record))


def _circumstances(case: Case, facts: Sequence[Fact], named: Fact) -> Circumstances:
    by = {fact.concept: fact for fact in facts}

    def answer(key: str) -> Truth:
        fact = by.get(key)
        return Truth.of(fact.value) if fact and isinstance(fact.value, bool) else Truth.NOT_KNOWN

    kidneys, present = case.word("kidneys-present")
    single = ONLY.get(kidneys or "", "")
    said = (present.fact,) if single and present.fact is not None else ()
    before = moment_key(named.at)
    return Circumstances(
        age_years=age_in_years(case.person.born, named.at),
        single_kidney=single,
        both_diseased=answer("renogram-both-diseased"),
        drained=answer("renogram-drained"),
        hydrated=answer("renogram-hydrated"),
        reflux=answer("renogram-reflux"),
        emptied_s=seconds_of(by, "renogram-emptied"),
        facts=(*facts, *said),
        earlier_shares=tuple(one for one in case.series(SHARE) if moment_key(one.at) < before),
    )
