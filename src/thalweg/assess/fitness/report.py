"""The fitness report: every score and rule as findings, with what each rests on and lacks."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thalweg.assess.fitness.derived import ground_of
from thalweg.assess.fitness.engine import RuleResult, evaluate
from thalweg.assess.fitness.rates import rate_at
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from thalweg.assess.fitness.form import RateSet, Rule
    from thalweg.assess.fitness.inputs import FitnessInputs
    from thalweg.assess.fitness.rates import Rate
    from thalweg.assess.fitness.rulebook import Rulebook
    from thalweg.evidence.conditions.ground import Ground
    from thalweg.record.fact import Moment

__all__ = ["FitnessReport", "RuleReport", "fitness_report", "points"]


def points(least: float, most: float) -> str:
    """Return a total, or the range it lies in, as a page prints it."""
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


@dataclass(frozen=True, slots=True)
class RuleReport:
    """One score or category: what it comes to, and its findings."""

    result: RuleResult
    findings: tuple[Finding, ...]

    @property
    def rule(self) -> Rule:
        """The score or category itself."""
        return self.result.rule

    @property
    def main(self) -> Finding:
        """The total, or the category."""
        return self.findings[0]

    @property
    def says(self) -> str:
        """The sentence that goes with the band or category, where it is settled."""
        if self.rule.is_score:
            return self.result.bands[0].says if len(self.result.bands) == 1 else ""
        return self.result.items[0].possible[-1].says if self.result.known else ""

    def groups(self, rates: RateSet) -> tuple[Rate, ...]:
        """Return the published rates of every group in which the total can lie."""
        first, last = (bisect_right(rates.least, end) - 1 for end in self._ends)
        return tuple(rate_at(rates, rates.least[group]) for group in range(first, last + 1))

    @property
    def _ends(self) -> tuple[float, float]:
        return self.result.least, self.result.most

    def to_json(self, cite: Callable[[str], str] = str) -> dict[str, Any]:
        """Return the rule item by item, for programs."""
        result = self.result
        return {
            "key": self.rule.key,
            "title": self.rule.title,
            "asks": self.rule.asks,
            "kind": "score" if self.rule.is_score else "category",
            "least_points": result.least if self.rule.is_score else None,
            "most_points": result.most if self.rule.is_score else None,
            "possible": list(result.names),
            "says": self.says,
            "made_for_this_person": result.applies.value,
            "narrowed_most_by": [one.item.key for one in result.narrowing],
            "missing": list(result.missing),
            "items": [
                {
                    "key": one.item.key,
                    "words": one.item.words,
                    "known": one.known,
                    "least_points": one.least,
                    "most_points": one.most,
                    "possible": list(dict.fromkeys(level.name for level in one.possible)),
                    "facts": [fact.to_json() for fact in one.judged.facts],
                    "from": [found.name for found in one.judged.findings],
                    "missing": list(one.judged.missing),
                    "note": one.item.note,
                    "doubts": list(one.judged.doubts),
                }
                for one in result.items
            ],
            "rates": [
                {
                    "key": rates.key,
                    "label": rates.label,
                    "groups": [
                        {
                            "percent": rate.percent,
                            "interval_percent": list(rate.interval) if rate.interval else None,
                            "events": rate.events,
                            "of": rate.of,
                        }
                        for rate in self.groups(rates)
                    ],
                    "source": "; ".join(cite(key) for key in rates.sources),
                    "note": rates.note,
                }
                for rates in self.rule.rates
            ],
            "source": self.rule.local_source or "; ".join(map(cite, self.rule.method.sources)),
        }


@dataclass(frozen=True, slots=True)
class FitnessReport:
    """Every score and contrast rule for one person on one day."""

    scores: tuple[RuleReport, ...]
    contrast: tuple[RuleReport, ...]
    at: date
    notices: tuple[str, ...] = ()

    @property
    def rules(self) -> tuple[RuleReport, ...]:
        """Scores, then contrast."""
        return (*self.scores, *self.contrast)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding."""
        return tuple(finding for one in self.rules for finding in one.findings)


def _when(result: RuleResult, at: date) -> Moment:
    moments: list[Moment] = [fact.at for fact in result.facts]
    moments += [found.at for found in result.findings if found.name != "age"]
    return max(moments, key=moment_key, default=at)


def _not_for(result: RuleResult) -> tuple[str, ...]:
    rule = result.rule
    if rule.applies is None or result.applies is Truth.MET:
        return ()
    if result.applies is Truth.NOT_KNOWN:
        return (f"{rule.applies.otherwise} Whether this person is one of them is not known.",)
    return (f"{rule.applies.otherwise} This person is not one of them.",)


def _main(result: RuleResult, at: date) -> Finding:
    rule = result.rule
    value: float | str | None
    unit = None
    cautions = [*_not_for(result), *result.doubts]
    if rule.is_score and result.known:
        value, unit = float(result.least), "{score}"
    elif rule.is_score:
        value = f"{points(result.least, result.most)} points"
    elif result.known:
        # The last one possible certainly holds; those before it come to the same by name.
        level = result.items[0].possible[-1]
        value = level.name
        cautions[:0] = [level.says] if level.says else []
    else:
        value = rule.undecided or None
        cautions.append(f"{rule.title} could be: {'; '.join(result.names)}.")
    return Finding(
        name=rule.key,
        title=rule.title,
        value=value,
        unit=unit,
        at=_when(result, at),
        method=rule.method,
        facts=result.facts,
        findings=result.findings,
        cautions=tuple(dict.fromkeys(cautions)),
        missing=result.missing,
        digits=0 if result.least == int(result.least) else 1,
    )


def _band(result: RuleResult, main: Finding) -> Finding:
    names = [band.name for band in result.bands]
    return Finding(
        name=f"{result.rule.key}-band",
        title=f"{result.rule.title}: band",
        value=names[0] if len(names) == 1 else f"{names[0]}, or up to {names[-1]}",
        unit=None,
        at=main.at,
        method=result.rule.method,
        findings=(main,),
        missing=() if len(names) == 1 else result.missing,
    )


def _rate(report: RuleReport, rates: RateSet) -> Finding:
    groups = report.groups(rates)
    value: float | str = groups[0].percent
    if len({one.percent for one in groups}) > 1:
        spread = [one.percent for one in groups]
        value = f"{min(spread):.{_digits(rates)}f} to {max(spread):.{_digits(rates)}f} %"
    single = isinstance(value, float)
    return Finding(
        name=f"{report.rule.key}-rate-{rates.key}",
        title=f"{report.rule.title}, rate: {rates.label}",
        value=value,
        unit="%" if single else None,
        at=report.main.at,
        method=Method(
            key=f"fitness-{report.rule.key}-rate",
            title=f"{report.rule.title}: published rate of the group",
            formula=(
                "events / people of the group × 100, with Wilson's 95 % interval where counts are "
                "printed"
            ),
            valid_for=rates.label,
            sources=rates.sources,
        ),
        findings=(report.main,),
        interval=groups[0].interval if single else None,
        cautions=(rates.note,) if rates.note else (),
        missing=() if single else report.result.missing,
        digits=_digits(rates),
    )


def _digits(rates: RateSet) -> int:
    return 1 if rates.events else min(rates.decimals, 1)


def _report(rule: Rule, ground: Ground, at: date) -> RuleReport:
    result = evaluate(rule, ground)
    main = _main(result, at)
    if not rule.is_score:
        return RuleReport(result, (main,))
    report = RuleReport(result, (main,))
    rest = [_band(result, main), *(_rate(report, rates) for rates in rule.rates)]
    return RuleReport(result, (main, *rest))


def fitness_report(inputs: FitnessInputs, rules: Rulebook) -> FitnessReport:
    """Return every score and contrast rule on what is known.

    Parameters
    ----------
    inputs : FitnessInputs
        The facts; none is guessed.
    rules : Rulebook

    Returns
    -------
    FitnessReport
        A score whose items are not all known has a range of totals and says what would narrow it
        most; a category that is not settled has no value, or is "not decidable".

    Raises
    ------
    InputError
        If a rule's published rates contradict themselves.
    """
    ground = ground_of(inputs, rules)
    return FitnessReport(
        tuple(_report(rule, ground, inputs.at) for rule in rules.scores),
        tuple(_report(rule, ground, inputs.at) for rule in rules.contrast),
        inputs.at,
        rules.notices,
    )
