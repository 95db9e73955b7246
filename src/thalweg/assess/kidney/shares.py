"""The left kidney's share over time: as reports state it, and as computed from a renogram."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of
from thalweg.assess.rules import number
from thalweg.record.fact import moment_key, say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.evidence.protocol import Rules
    from thalweg.record.fact import Fact, Moment

__all__ = ["SHARE", "SHARE_TO_RELY_ON", "Share", "Shares", "shares_over_time"]

SHARE = "split-function-left"
"""Concept of a share that was entered, and name of the finding that answers in its place."""

SHARE_TO_RELY_ON = Method(
    key="share-to-rely-on",
    title="left kidney's share of function to rely on",
    formula=(
        "the latest share, computed from a renogram's counts or entered; none where one entered "
        "within 7 days of a computed one differs from it by more than 5 points"
    ),
    valid_for="shares of both kidneys by a renogram",
    sources=("thalweg-engineering",),
)


@dataclass(frozen=True, slots=True)
class Share:
    """One share of the left kidney.

    Parameters
    ----------
    percent : float
    at : date or aware datetime
    facts : tuple of Fact
        Entered: itself; computed: what was entered of the same study and agrees.
    finding : Finding or None
        Where it was computed.
    """

    percent: float
    at: Moment
    facts: tuple[Fact, ...] = ()
    finding: Finding | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The finding, if there is one."""
        return () if self.finding is None else (self.finding,)


@dataclass(frozen=True, slots=True)
class _Rivals:
    """Shares of one study of which nobody knows which is right."""

    at: Moment
    facts: tuple[Fact, ...]
    finding: Finding | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Shares:
    """Every share that can be relied on, oldest first, and what stands against the others.

    Parameters
    ----------
    all : tuple of Share
        Shares that contradict each other are not among them.
    contradictions : tuple of str
        One sentence each.
    to_rely_on : Finding or None
        Answers for `SHARE` where any share was computed; without value where the latest are
        contradictory. None where all were entered: the facts then answer for themselves.
    latest : Share or None
        None also where the latest shares contradict each other.
    """

    all: tuple[Share, ...]
    contradictions: tuple[str, ...] = ()
    to_rely_on: Finding | None = None
    latest: Share | None = None


def shares_over_time(entered: Sequence[Fact], computed: Sequence[Finding], rules: Rules) -> Shares:
    """Bring entered and computed shares together; neither silently takes the other's place.

    Parameters
    ----------
    entered : sequence of Fact
        ``split-function-left``.
    computed : sequence of Finding
        The left kidney's share in per cent by each renogram; one without a value counts for
        nothing.
    rules : Rules
        For what is one study, and how far apart its shares may lie.

    Returns
    -------
    Shares
    """
    days = number(rules, "split-same-study", "days")
    points = number(rules, "split-same-study", "points")
    left = list(entered)
    told: list[Share | _Rivals] = []
    for finding in computed:
        if not isinstance(finding.value, float):
            continue
        near = [fact for fact in left if _apart(fact.at, finding.at) <= days]
        left = [fact for fact in left if fact not in near]
        told.append(_one_study(finding, finding.value, near, points))
    told += _entered_alone(left)
    told.sort(key=lambda one: moment_key(one.at))
    usable = tuple(one for one in told if isinstance(one, Share))
    against = tuple(one.sentence for one in told if isinstance(one, _Rivals))
    last = told[-1] if told else None
    return Shares(
        usable,
        against,
        _relied(last, against) if any(one.finding is not None for one in told) else None,
        last if isinstance(last, Share) else None,
    )


def _apart(one: Moment, other: Moment) -> int:
    return abs((day_of(one) - day_of(other)).days)


def _one_study(
    finding: Finding, value: float, near: Sequence[Fact], points: float
) -> Share | _Rivals:
    differing = [fact for fact in near if abs(amount(fact, "%") - value) > points]
    if not differing:
        return Share(value, finding.at, tuple(near), finding)
    entered = "; ".join(f"{fact.value} % ({say_moment(fact.at)[:10]})" for fact in differing)
    sentence = (
        f"The left kidney's share computed from the renogram of {say_moment(finding.at)[:10]}, "
        f"{value:.0f} %, and the share entered, {entered}, differ by more than {points:g} points: "
        "both are kept and neither is used. Look at regions, background and side, and settle "
        "which is right."
    )
    return _Rivals(finding.at, tuple(near), finding, sentence)


def _entered_alone(facts: Sequence[Fact]) -> list[Share | _Rivals]:
    moments: dict[object, list[Fact]] = {}
    for fact in facts:
        moments.setdefault(moment_key(fact.at), []).append(fact)
    told: list[Share | _Rivals] = []
    for rivals in moments.values():
        values = [amount(fact, "%") for fact in rivals]
        # The record's own rule for one result written twice: within one part in a hundred.
        if max(values) - min(values) > 0.01 * max(values):
            sentence = (
                f"Two shares of the left kidney are entered for {say_moment(rivals[0].at)[:10]} "
                f"({' and '.join(f'{value:g} %' for value in values)}): neither is used."
            )
            told.append(_Rivals(rivals[0].at, tuple(rivals), None, sentence))
        else:
            told.append(Share(values[0], rivals[0].at, (rivals[0],)))
    return told


def _relied(last: Share | _Rivals | None, against: tuple[str, ...]) -> Finding | None:
    if last is None:
        return None
    known = isinstance(last, Share)
    finding = last.finding
    return Finding(
        name=SHARE,
        title="Left kidney's share of function to rely on",
        value=last.percent if isinstance(last, Share) else None,
        unit="%",
        at=last.at,
        method=SHARE_TO_RELY_ON,
        facts=last.facts,
        findings=() if finding is None else (finding,),
        interval=finding.interval if known and finding is not None else None,
        cautions=against,
        missing=() if known else (SHARE,),
        digits=0,
    )
