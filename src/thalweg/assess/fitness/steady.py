"""Whether kidney function is changing now: KDIGO's creatinine criteria on the recorded results."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from thalweg.record.fact import Fact

__all__ = ["KIDNEYS_CHANGING", "kidneys_changing", "rising"]

KIDNEYS_CHANGING = Method(
    key="kidneys-changing",
    title="acute kidney injury by creatinine",
    formula=(
        "newest creatinine at least 1.5 times one of the 7 days before, or at least 26.5 µmol/L "
        "(0.3 mg/dL) above one of the 48 hours before; excluded only where an earlier result "
        "within 7 days is there and less than 26.5 µmol/L below"
    ),
    valid_for="results not more than 14 days old; urine output is not looked at",
    sources=("kdigo-aki-2012", "thalweg-engineering"),
)
RATIO = 1.5
RISE_UMOL_L = 26.5
WEEK, TWO_DAYS = timedelta(days=7), timedelta(hours=48)
KEY = "acute-kidney-injury"


def rising(results: Sequence[Fact]) -> tuple[Truth, tuple[Fact, ...]]:
    """Return whether creatinine has risen as in acute injury, and the results that show it.

    Parameters
    ----------
    results : sequence of Fact
        Creatinine, oldest first.

    References
    ----------
    KDIGO 2012, recommendation 2.1.1 (from memory).
    """
    if len(results) < 2:
        return Truth.NOT_KNOWN, ()
    newest = results[-1]
    now = amount(newest, "umol/L")
    before = [
        (moment_key(newest.at) - moment_key(fact.at), amount(fact, "umol/L"), fact)
        for fact in results[:-1]
    ]
    within = [one for one in before if one[0] <= WEEK]
    for gap, then, fact in within:
        if now >= RATIO * then or (gap <= TWO_DAYS and now - then >= RISE_UMOL_L):
            return Truth.MET, (fact, newest)
    # A rise since an earlier result may all have come in the last two days.
    quiet = [fact for _, then, fact in within if now - then < RISE_UMOL_L]
    if quiet:
        return Truth.NOT_MET, (quiet[-1], newest)
    return Truth.NOT_KNOWN, ()


def kidneys_changing(
    results: Sequence[Fact], recorded: Fact | None, *, at: date, keeps_days: int | None
) -> Finding:
    """Return whether there is acute kidney injury now, from the results and what is recorded.

    Parameters
    ----------
    results : sequence of Fact
        Creatinine, oldest first.
    recorded : Fact or None
        The yes-no fact ``acute-kidney-injury``.
    at : date
        The day asked about.
    keeps_days : int or None
        After so long neither results nor fact say anything of that day.

    Returns
    -------
    Finding
        Truth; a yes from either side goes before a no from the other.
    """

    def fresh(fact: Fact) -> bool:
        return keeps_days is None or (at - day_of(fact.at)).days <= keeps_days

    shown, witnesses = rising(results) if results and fresh(results[-1]) else (Truth.NOT_KNOWN, ())
    said = Truth.NOT_KNOWN
    if recorded is not None and isinstance(recorded.value, bool) and fresh(recorded):
        said = Truth.of(recorded.value)
    cautions = []
    if {shown, said} == {Truth.MET, Truth.NOT_MET}:
        cautions.append(
            "Record and creatinine disagree on acute kidney injury: it is taken to be there until "
            "somebody settles it."
        )
    if recorded is not None and not fresh(recorded):
        cautions.append(
            "What is recorded of acute kidney injury is more than "
            f"{keeps_days} days old and says nothing of now."
        )
    truth = shown | said if Truth.MET in (shown, said) else _either(shown, said)
    facts = (*witnesses, *((recorded,) if said is not Truth.NOT_KNOWN and recorded else ()))
    return Finding(
        name=KEY,
        title="Acute kidney injury now",
        value=None if truth is Truth.NOT_KNOWN else truth,
        unit=None,
        at=max((fact.at for fact in facts), key=moment_key, default=at),
        method=KIDNEYS_CHANGING,
        facts=facts,
        cautions=tuple(cautions),
        missing=(KEY,) if truth is Truth.NOT_KNOWN else (),
    )


def _either(first: Truth, second: Truth) -> Truth:
    return first if first is not Truth.NOT_KNOWN else second
