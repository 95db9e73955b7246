"""What every series must pass before anyone relies on it, ours and a unit's own alike.

Each check gives sentences that say what is wrong, where, and the mend; none corrects anything.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final

from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.outcome import UNITS, definitions, outcomes
from thalweg.evidence.rounding import possible_counts, roundings

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from thalweg.evidence.series import Series

__all__ = ["check_one_unit", "check_series"]

LONGEST_FOLLOW_UP_MONTHS: Final = 600.0
"""Beyond fifty years a follow-up is a slip of the unit."""


def check_series(
    rows: Sequence[Series], *, this_year: int | None = None, diversions: Collection[str] = ()
) -> tuple[InputError, ...]:
    """Return every problem of the rows, each by itself and all against each other.

    Parameters
    ----------
    rows : sequence of Series
        To be checked together, so that people counted twice come to light.
    this_year : int, optional
        Nothing can be later than it.
    diversions : collection of str
        Keys of the catalogue; empty: not checked.

    Returns
    -------
    tuple of InputError
        Empty where nothing is wrong.
    """
    found: list[InputError] = []
    for one in rows:
        for check in ROW_CHECKS:
            found.extend(_placed(one, *said) for said in check(one))
        found.extend(_placed(one, *said) for said in _years(one, this_year))
        if diversions:
            found.extend(
                _placed(one, f"{key!r} is not a diversion", "use a key of the catalogue")
                for key in one.diversions
                if key not in diversions
            )
    found.extend(_twice(rows))
    return tuple(found)


def check_one_unit(rows: Sequence[Series]) -> None:
    """Refuse rows that count different things: they must never be pooled.

    Raises
    ------
    InputError
        If the rows hold more than one outcome, or people beside kidneys, joins or procedures.
    """
    for name, word in (("unit", "units of counting"), ("outcome", "outcomes")):
        seen = sorted({str(getattr(one, name)) for one in rows})
        if len(seen) > 1:
            raise InputError(
                f"the series mix {word}: {', '.join(seen)}",
                where=", ".join(one.key for one in rows[:3]),
                mend="pool each by itself",
            )


Said = tuple[str, str]


def _placed(one: Series, what: str, mend: str) -> InputError:
    return InputError(what, where=f"series {one.key}", mend=mend)


def _words(one: Series) -> Iterator[Said]:
    """Yield each outcome, definition, unit and source that is not known."""
    if one.outcome not in outcomes():
        yield f"{one.outcome!r} is not an outcome", f"use one of {', '.join(outcomes())}"
    fits = [key for key, row in definitions().items() if row.outcome == one.outcome]
    if fits and one.definition_group not in fits:
        yield (
            f"{one.definition_group!r} is not a definition of {one.outcome!r}",
            f"use one of {', '.join(fits)}",
        )
    if one.unit not in UNITS:
        yield f"{one.unit!r} is not a unit of counting", f"use one of {', '.join(UNITS)}"
    if one.source not in bibliography():
        yield f"the source {one.source!r} is not in the bibliography", "add it there first"


def _counts(one: Series) -> Iterator[Said]:
    if one.n < 1:
        yield f"n is {one.n}", "say how many were counted, at least 1"
    if one.events is not None and not 0 <= one.events <= one.n:
        yield f"{one.events} events of {one.n} cannot be", "correct the events or n"


def _percentage(one: Series) -> Iterator[Said]:
    """Yield a printed percentage that no whole count can give by any way of rounding."""
    if not one.printed or one.n < 1:
        return
    counted = one.counted
    try:
        if counted is None:
            agrees = bool(possible_counts(one.printed, one.n))
        else:
            agrees = counted >= 0 and bool(roundings(one.printed, counted, one.n))
    except InputError as error:
        yield error.what, error.mend
        return
    if agrees and one.discrepancy and not one.excluded:
        yield "a discrepancy is noted, but the figures agree", "take the note away"
    if not agrees and not one.discrepancy:
        of = f"{counted} of {one.n}" if counted is not None else f"no whole count of {one.n}"
        tail = "is not" if counted is not None else "gives"
        yield (
            f"{of} {tail} the printed {one.printed} %, however it is rounded",
            "correct it, or note the discrepancy",
        )


def _time(one: Series) -> Iterator[Said]:
    """Yield what is missing of the time, without which a late outcome means nothing."""
    what = outcomes().get(one.outcome)
    timed = one.follow_up_months is not None or one.at_months is not None
    if what and what.timing == "late" and not timed and not one.follow_up_unknown:
        mend = "give the follow-up, or say that it is unknown"
        yield f"{what.name.lower()} is given without a follow-up", mend
    if what and what.timing == "fixed" and one.at_months is None:
        yield f"{what.name.lower()} is given without its time", "say at how many months"
    if one.follow_up_months is not None and not one.follow_up_kind:
        yield "it does not say what the follow-up is", "say median, mean, minimum or maximum"
    for name, months in (("follow-up", one.follow_up_months), ("time", one.at_months)):
        if months is not None and not 0 < months <= LONGEST_FOLLOW_UP_MONTHS:
            yield f"a {name} of {months:g} months cannot be", "correct it or its unit"
    group = definitions().get(one.definition_group)
    span = group.at_months if group else None
    if span and one.at_months is not None and not span[0] <= one.at_months <= span[1]:
        yield (
            f"{one.at_months:g} months lies outside its definition ({span[0]:g} to {span[1]:g})",
            "choose the definition of that time",
        )


def _survival(one: Series) -> Iterator[Said]:
    share = one.survival_percent
    if share is None:
        if one.survival_interval is not None:
            yield "it has an interval of a share and no share", "give the share"
        return
    low, high = one.survival_interval or (share, share)
    if not 0 <= low <= share <= high <= 100:
        yield f"a share of {share:g} % ({low:g} to {high:g}) cannot be", "correct it"
    if one.at_months is None:
        yield "a share free of the outcome has no time", "say at how many months"


ROW_CHECKS: Final[tuple[Callable[[Series], Iterator[Said]], ...]] = (
    _words,
    _counts,
    _percentage,
    _time,
    _survival,
)


def _years(one: Series, this_year: int | None) -> Iterator[Said]:
    if this_year is not None and one.year > this_year:
        yield f"the year {one.year} is yet to come", "correct it"
    if one.enrolled is None:
        return
    first, last = one.enrolled
    if first > last or first < 1900:
        yield f"operations from {first} to {last} cannot be", "correct the years"
        return
    if last > one.year:
        yield f"operations until {last} cannot stand in a publication of {one.year}", "correct it"
    room = 12.0 * (one.year - first + 1)
    for name, months in (("follow-up", one.follow_up_months), ("time", one.at_months)):
        if months is not None and months > room:
            yield (
                f"a {name} of {months:g} months does not fit between {first} and {one.year}",
                "correct the years or the unit of time",
            )


def _twice(rows: Sequence[Series]) -> Iterator[InputError]:
    """Yield rows with one key, counts entered twice, and people of one hospital in two studies."""
    seen: set[str] = set()
    for one in rows:
        if one.key in seen:
            yield _placed(one, "stands twice", "keep one")
        seen.add(one.key)
    said: set[frozenset[str]] = set()
    for one, other in combinations(rows, 2):
        if one.key != other.key and _counted_alike(one) == _counted_alike(other):
            yield _placed(other, f"counts the same as {one.key}", "keep one, or name its arm")
        pair = frozenset((one.source, other.source))
        if pair not in said and _may_share_people(one, other):
            said.add(pair)
            yield _placed(
                other,
                f"may hold the people of {one.source} ({one.cohort}, overlapping years)",
                "say so in overlaps",
            )


def _counted_alike(one: Series) -> tuple[object, ...]:
    return (
        one.source,
        one.diversions,
        one.population,
        one.arm,
        one.outcome,
        one.definition_group,
        one.unit,
        one.follow_up_months,
        one.at_months,
        one.survival_percent is None,
    )


def _may_share_people(one: Series, other: Series) -> bool:
    """One outcome, one hospital, touching years, a diversion in common, and not declared."""
    if one.source == other.source or not one.cohort or one.cohort != other.cohort:
        return False
    if one.outcome != other.outcome:
        return False
    if other.source in one.overlaps or one.source in other.overlaps:
        return False
    if one.diversions and other.diversions and not set(one.diversions) & set(other.diversions):
        return False
    if one.enrolled is None or other.enrolled is None:
        return True
    return one.enrolled[0] <= other.enrolled[1] and other.enrolled[0] <= one.enrolled[1]
