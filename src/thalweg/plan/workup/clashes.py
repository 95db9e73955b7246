"""Facts that exclude one another: one thing said twice, or two that cannot both be true."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.evidence.conditions.judge import judge
from thalweg.plan.workup.asking import ground_for
from thalweg.record.concept import concept, concepts
from thalweg.record.fact import moment_key, say, say_moment
from thalweg.record.plausible import canonical
from thalweg.record.reckon import day_of
from thalweg.record.truth import Truth
from thalweg.record.units import convert, printed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

    from thalweg.plan.workup.clash_rules import ClashRule, Differ, Same
    from thalweg.plan.workup.rulebook import WorkupRules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["Clash", "clashes"]

AT_ONE_MOMENT = "one-moment"


@dataclass(frozen=True, slots=True)
class Clash:
    """Facts of which at least one must be wrong.

    Parameters
    ----------
    key : str
        Of the rule.
    words : str
        What cannot be.
    facts : tuple of Fact
    sources : tuple of str
    local_source : str
        The unit's own, where its protocol replaced ours.
    """

    key: str
    words: str
    facts: tuple[Fact, ...]
    sources: tuple[str, ...]
    local_source: str = ""

    @property
    def concepts(self) -> frozenset[str]:
        """What the facts speak of."""
        return frozenset(fact.concept for fact in self.facts)

    @property
    def sentence(self) -> str:
        """What cannot be, by which facts, and the mend."""
        told = "; ".join(_told(fact) for fact in self.facts)
        return f"{self.words[:1].upper()}{self.words[1:]}: {told}. Settle which is right."


def _told(fact: Fact) -> str:
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    return f"{concept(fact.concept).name} {say(fact.value)}{unit} ({say_moment(fact.at)})"


def clashes(
    case: Case, findings: Iterable[Finding], rules: WorkupRules, at: date
) -> tuple[Clash, ...]:
    """Return every set of facts of which at least one must be wrong.

    Of one concept the youngest fact is compared with those before it; older pairs no longer
    matter, for nothing rests on them.

    Parameters
    ----------
    case : Case
        As known on `at`.
    findings : iterable of Finding
        What is computed, for comparison with what is recorded.
    rules : WorkupRules
    at : date
    """
    told = tuple(findings)
    found = [*_same(case, rules.same)]
    ground = ground_for(case, told, at)
    for rule in rules.excludes:
        judged = judge(rule.never, ground)
        if judged.truth is Truth.MET and _near(judged.facts, rule.within_days):
            found.append(_clash(rule, rule.words, judged.facts))
    by_name = {one.name: one for one in told}
    found += [clash for rule in rules.differ if (clash := _differing(rule, case, by_name))]
    return tuple(found)


def _clash(rule: ClashRule, words: str, facts: tuple[Fact, ...]) -> Clash:
    return Clash(rule.key, words, facts, rule.sources, rule.local_source)


def _near(facts: tuple[Fact, ...], within_days: int | None) -> bool:
    days = [day_of(fact.at) for fact in facts]
    return within_days is None or not days or (max(days) - min(days)).days <= within_days


def _same(case: Case, rules: tuple[Same, ...]) -> Iterator[Clash]:
    by_concept: dict[tuple[str, str], list[Fact]] = {}
    for fact in case.facts:
        by_concept.setdefault((fact.concept, fact.label), []).append(fact)
    order = {key: number for number, key in enumerate(concepts())}
    for key, label in sorted(by_concept, key=lambda pair: (order[pair[0]], pair[1])):
        if len(by_concept[key, label]) < 2:
            continue
        chosen = case.latest(key, label=label)
        name = concept(key).name
        if chosen.conflict:
            words = f"two values of {name} at one time"
            yield Clash(AT_ONE_MOMENT, words, chosen.conflict, ("thalweg-engineering",))
        elif chosen.fact is not None:
            yield from _against(chosen.fact, case.series(key, label=label), rules)


def _against(latest: Fact, series: tuple[Fact, ...], rules: tuple[Same, ...]) -> Iterator[Clash]:
    """Yield a clash of the latest fact with the nearest earlier one that excludes it."""
    name = concept(latest.concept).name
    for rule in rules:
        if latest.concept not in rule.concepts:
            continue
        for other in reversed(series):
            if other.id != latest.id and _excludes(rule, other, latest):
                words = f"{name} was 'yes' before and is 'no' now"
                if not rule.once_yes:
                    words = f"two values of {name} within {_days(rule.within_days)}"
                yield _clash(rule, words, (other, latest))
                break


def _days(number: int) -> str:
    return "a day" if number <= 1 else f"{number} days"


def _excludes(rule: Same, earlier: Fact, latest: Fact) -> bool:
    if rule.once_yes:
        return earlier.value is True and latest.value is False
    if moment_key(latest.at) - moment_key(earlier.at) > timedelta(days=rule.within_days):
        return False
    if isinstance(earlier.value, Decimal) and isinstance(latest.value, Decimal):
        row = concept(latest.concept)
        pair = [canonical(row, float(f.value), f.unit or "") for f in (earlier, latest)]  # type: ignore[arg-type]
        return _apart(pair[0], pair[1], rule.absolute, rule.relative)
    return earlier.value != latest.value


def _apart(one: float, two: float, absolute: float | None, relative: float | None) -> bool:
    """Return whether two values differ by more than every limit given."""
    gap = abs(one - two)
    # A gap of exactly the limit is allowed, whatever the last digit of its subtraction.
    slack = 1e-9 * max(abs(one), abs(two))
    limits = [] if absolute is None else [absolute]
    limits += [] if relative is None else [relative * max(abs(one), abs(two))]
    return bool(limits) and all(gap > limit + slack for limit in limits)


def _differing(rule: Differ, case: Case, by_name: Mapping[str, Finding]) -> Clash | None:
    own = concept(rule.first).unit or ""
    first, chosen = case.quantity(rule.first)
    if first is None or chosen.fact is None:
        return None
    if rule.second in by_name:
        finding = by_name[rule.second]
        if not isinstance(finding.value, float) or finding.unit is None:
            return None
        second, unit, facts = finding.value, finding.unit, finding.all_facts
        days = [day_of(finding.at)]
    else:
        value, other = case.quantity(rule.second) if rule.second in concepts() else (None, None)
        if value is None or other is None or other.fact is None:
            return None
        second, unit, facts = value, concept(rule.second).unit or "", (other.fact,)
        days = [day_of(other.fact.at)]
    if abs((day_of(chosen.fact.at) - days[0]).days) > rule.within_days:
        return None
    like = second * rule.factor if rule.factor is not None else convert(second, unit, own)
    expected = like if rule.sum_to is None else rule.sum_to - like
    if not _apart(first, expected, rule.absolute, rule.relative):
        return None
    words = f"{rule.words} ({first:.4g} against {expected:.4g} {printed(own)}, as it should be)"
    return _clash(rule, words, (chosen.fact, *facts))
