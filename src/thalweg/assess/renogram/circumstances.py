"""What must be known beside the curves before a renogram is judged; nothing of it is guessed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import InputError
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.record.fact import Fact

__all__ = ["Circumstances"]


@dataclass(frozen=True, slots=True)
class Circumstances:
    """The person and the study, as far as stated.

    Parameters
    ----------
    age_years : float, optional
        At the study, in years.
    single_kidney : str
        ``"left"`` or ``"right"`` where the person has only that kidney; else empty.
    both_diseased : Truth
        Both kidneys diseased or dilated.
    drained : Truth
        Whether bladder, conduit or reservoir was open or empty while the late frames ran.
    hydrated : Truth
        Whether the person was well hydrated.
    reflux : Truth
        Whether urine can run back from bladder, conduit or reservoir into the kidneys.
    emptied_s : float, optional
        When the bladder or reservoir was emptied, in seconds after the tracer; frames from then
        on count as taken after emptying.
    facts : tuple of Fact
        What these were read from.
    earlier_shares : tuple of Fact
        ``split-function-left`` of earlier studies.

    Raises
    ------
    InputError
        If an age or time is not one, or `single_kidney` is not a side.
    """

    age_years: float | None = None
    single_kidney: str = ""
    both_diseased: Truth = Truth.NOT_KNOWN
    drained: Truth = Truth.NOT_KNOWN
    hydrated: Truth = Truth.NOT_KNOWN
    reflux: Truth = Truth.NOT_KNOWN
    emptied_s: float | None = None
    facts: tuple[Fact, ...] = ()
    earlier_shares: tuple[Fact, ...] = ()

    def __post_init__(self) -> None:
        if self.age_years is not None and not 0 <= self.age_years <= 130:
            raise InputError(
                f"an age of {self.age_years:g} years is not one", mend="correct the age"
            )
        if self.single_kidney not in {"", "left", "right"}:
            raise InputError(
                f"{self.single_kidney!r} is not a side", mend="write left or right, or leave it out"
            )
        if self.emptied_s is not None and not (np.isfinite(self.emptied_s) and self.emptied_s > 0):
            raise InputError(
                "the time of emptying is not after the tracer was given",
                mend="give it in seconds after the tracer",
            )
