"""What the kidney report needs, and how it is drawn from a case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.assess.facts import amount, day_of, youngest
from thalweg.assess.injury.now import kidneys_now
from thalweg.errors import InputError
from thalweg.record.case import Case, Chosen, Sex, age_in_years
from thalweg.record.fact import Fact, Moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from datetime import date

    from thalweg.evidence.protocol import Rules

__all__ = ["AGE_FROM_BIRTH", "KidneyInputs"]

AGE_FROM_BIRTH = Method(
    key="age-from-birth",
    title="age on the day of the result",
    formula="whole years since birth, plus the part of the present year of life that has passed",
    valid_for="anyone whose date of birth is recorded",
    sources=("thalweg-engineering",),
)
_NOTHING = Chosen(None)


@dataclass(frozen=True, slots=True)
class KidneyInputs:
    """Facts for the kidney report; whatever is not given is not guessed.

    Parameters
    ----------
    age : Fact or Finding
        The fact ``age`` (typed) or the finding ``age`` (from the date of birth), in years.
    sex : "female" or "male"
        As the equations use it.
    at : date or aware datetime
        The moment the question is asked; findings without any result bear it.
    creatinine, cystatin_c, height, weight, albumin_creatinine_ratio, measured_gfr : Chosen
        The fact that answers each, or why none does.
    urea, urea_nitrogen : Chosen
        Likewise.
    muscle_loss, bowel_in_urinary_tract, on_dialysis : Chosen
        Yes-no facts.
    injury_now : Finding, optional
        Whether an acute injury of the last 7 days is on record; None where nothing speaks of it.
    """

    age: Fact | Finding
    sex: Sex
    at: Moment
    creatinine: Chosen = _NOTHING
    cystatin_c: Chosen = _NOTHING
    height: Chosen = _NOTHING
    weight: Chosen = _NOTHING
    albumin_creatinine_ratio: Chosen = _NOTHING
    measured_gfr: Chosen = _NOTHING
    urea: Chosen = _NOTHING
    muscle_loss: Chosen = _NOTHING
    bowel_in_urinary_tract: Chosen = _NOTHING
    urea_nitrogen: Chosen = _NOTHING
    on_dialysis: Chosen = _NOTHING
    injury_now: Finding | None = None

    @property
    def age_years(self) -> float:
        """Age in years.

        Raises
        ------
        InputError
            If the finding given as age has no number.
        """
        if isinstance(self.age, Fact):
            return amount(self.age, "a")
        if not isinstance(self.age.value, float) or self.age.unit != "a":
            raise InputError("the age is not a number of years", mend="give age or date of birth")
        return self.age.value

    def chosen(self, key: str) -> Chosen:
        """Return the choice made for a concept key, such as ``"cystatin-c"``."""
        found: Chosen = getattr(self, key.replace("-", "_"))
        return found

    def truth(self, key: str) -> Truth:
        """Return what is known of a yes-no concept."""
        fact = self.chosen(key).fact
        value = fact.value if fact is not None else None
        return Truth.of(value) if isinstance(value, bool) else Truth.NOT_KNOWN

    @classmethod
    def from_case(cls, case: Case, at: date, rules: Rules | None = None) -> KidneyInputs:
        """Draw the inputs from a case as it was known on a day.

        Facts after `at` are left out. The age is that on the day of the youngest creatinine or
        cystatin C, for an estimate speaks of that day; on `at` where there is neither.

        Parameters
        ----------
        case : Case
            The person's course.
        at : date
            The day.
        rules : Rules, optional
            Thresholds of acute injury; default: ours.
        """
        then = case.known_on(at)
        markers = [*then.series("creatinine"), *then.series("cystatin-c")]
        on = day_of(youngest(markers).at) if markers else at
        age = Finding(
            name="age",
            title="Age",
            value=float(age_in_years(case.person.born, on)),
            unit="a",
            at=on,
            method=AGE_FROM_BIRTH,
        )
        return cls(
            age=age,
            sex=case.person.sex,
            at=at,
            creatinine=then.latest("creatinine"),
            cystatin_c=then.latest("cystatin-c"),
            height=then.latest("height"),
            weight=then.latest("weight"),
            albumin_creatinine_ratio=then.latest("albumin-creatinine-ratio"),
            measured_gfr=then.latest("measured-gfr"),
            urea=then.latest("urea"),
            muscle_loss=then.latest("muscle-loss"),
            bowel_in_urinary_tract=then.latest("bowel-in-urinary-tract"),
            urea_nitrogen=then.latest("urea-nitrogen"),
            on_dialysis=then.latest("on-dialysis"),
            injury_now=kidneys_now(then, at, rules),
        )
