"""The kidneys over time: acute injury, decline, and each kidney's part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.decline.report import decline_findings
from thalweg.assess.decline.series import rate_series
from thalweg.assess.injury.report import injury_findings
from thalweg.assess.kidney.shares import SHARE, shares_over_time
from thalweg.assess.kidney.split import split_findings
from thalweg.assess.rules import kidney_rules

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding

__all__ = ["kidney_course"]


def kidney_course(
    case: Case,
    at: date,
    relied: Finding,
    rules: Rules | None = None,
    computed_shares: Sequence[Finding] = (),
) -> tuple[Finding, ...]:
    """Return what the record says of the kidneys over time, as it was known on a day.

    Parameters
    ----------
    case : Case
    at : date
        Facts after it are left out.
    relied : Finding
        ``gfr-to-rely-on`` of that day.
    rules : Rules, optional
        Thresholds; default: ours.
    computed_shares : sequence of Finding
        The left kidney's share by each renogram whose counts are on record.

    Returns
    -------
    tuple of Finding
        Of acute injury, of decline, and of each kidney, as far as the record carries them.
    """
    rules = rules or kidney_rules()
    then = case.known_on(at)
    shares = shares_over_time(then.series(SHARE), computed_shares, rules)
    return (
        *injury_findings(then, at, rules),
        *decline_findings(then, at, rules),
        *split_findings(shares, relied, rate_series(then, rules), rules),
    )
