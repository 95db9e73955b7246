"""The order of the open options by the person's own answers, with how steady it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from thalweg.plan.preferences.answers import Given, answers_of, pulls
from thalweg.plan.preferences.flips import AnswerFlip, WeightFlip, answer_flips, weight_flips
from thalweg.plan.preferences.places import PLACES, Places, dominators, offers, places_of
from thalweg.plan.preferences.questions import Asking, next_question, questions_of
from thalweg.plan.preferences.weights import WEIGHTS, Weights, weights_of
from thalweg.record.finding import Finding
from thalweg.record.reckon import day_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.appraised import Appraised
    from thalweg.plan.preferences.attributes import Matters
    from thalweg.record.case import Case
    from thalweg.record.fact import Moment

__all__ = ["OPEN", "STANDING", "Placed", "Preferences", "preferences_of"]

OPEN = ("open", "open with cautions")
STANDING = (
    (
        "The answers change the order in which open options are shown, and nothing else: none "
        "opens a closed option or decides an undecided one."
    ),
    (
        "The order follows from a few answers and from what each option offers as a rule. It "
        "supports the talk between the person and the team, says nothing about the person, and is "
        "no recommendation."
    ),
)
FEW_EFFECTIVE = 1000
"""Fewer equally counting draws than this make the shares uncertain by more than 3 points."""
UNKNOWN_SHARE = 0.25
"""Of the weight: from here on it is said that what matters is not known of the options."""
FIRM, LEANING = 0.9, 0.6
"""Shares of first places from which an order is called firm, or leaning."""


@dataclass(frozen=True, slots=True)
class Placed:
    """One open option's place.

    Parameters
    ----------
    row : Appraised
    place : float
        Mean place, counted from 1.
    span : tuple of int
        Places that hold 95 % of the draws.
    shares : tuple of float
        Share of the draws in each place, the first first, 0 to 1.
    unknown : tuple of str
        Names of the matters on which nothing is known of it.
    no_worse : tuple of str
        Names of open options that are no worse in anything known, and better in something.
    """

    row: Appraised
    place: float
    span: tuple[int, int]
    shares: tuple[float, ...]
    unknown: tuple[str, ...]
    no_worse: tuple[str, ...]

    @property
    def first(self) -> float:
        """Share of the draws in which it comes first, 0 to 1."""
        return self.shares[0]


@dataclass(frozen=True, eq=False)
class Preferences:
    """What the answers say.

    Parameters
    ----------
    at : date or aware datetime
    known : Matters
    given : Given
    wishes : str
        What matters most in the person's own words; empty where nobody wrote it down.
    weights : Weights
    places : Places
        Of the open options.
    order : tuple of Placed
        Open options, by mean place.
    undecided, closed : tuple of Appraised
    asking : Asking
    weight_flips : tuple of WeightFlip
    answer_flips : tuple of AnswerFlip
    circles : tuple of tuple of str
        Answers that pull apart, as names of matters.
    unknown_weight : float
        Part of the weight on matters of which nothing is known of some open option, 0 to 1.
    """

    at: Moment
    known: Matters
    given: Given
    wishes: str
    weights: Weights
    places: Places
    order: tuple[Placed, ...]
    undecided: tuple[Appraised, ...]
    closed: tuple[Appraised, ...]
    asking: Asking
    weight_flips: tuple[WeightFlip, ...]
    answer_flips: tuple[AnswerFlip, ...]
    circles: tuple[tuple[str, ...], ...]
    unknown_weight: float

    def name_of(self, attribute: str) -> str:
        """Return a matter's name."""
        found = self.known.attribute(attribute)
        return attribute if found is None else found.name

    @property
    def telling(self) -> bool:
        """Whether any answer says something."""
        return any(answer.word != "do not know" for answer in self.given.answers)

    @property
    def steadiness(self) -> str:
        """How steady the first place is, in a sentence; empty where there is none."""
        if not self.order:
            return "No option is open, so that there is nothing to put in order."
        if len(self.order) == 1:
            return "Only one option is open: the answers have nothing to put in order."
        if not self.telling:
            return (
                "No answer that tells anything is on record yet, so that there is no order to show."
            )
        lead = max(self.order, key=lambda one: one.first)
        often = f"{lead.row.diversion.name} comes first in {100 * lead.first:.0f} of 100"
        if lead.first >= FIRM:
            return f"{often} of the weightings that the answers allow: a firm first place."
        if lead.first >= LEANING:
            return f"{often} of the weightings that the answers allow: leaning, not settled."
        return (
            f"The answers so far settle no order: no option comes first in more than "
            f"{100 * lead.first:.0f} of 100 of the weightings that they allow."
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """Everything to be said beside the order."""
        said = [*self.given.said]
        for circle in self.circles:
            names = ", before ".join(self.name_of(key) for key in (*circle, circle[0]))
            said.append(
                f"Some answers pull in different directions: {names}. That is common and nobody's "
                "mistake. All of them count; asking one of them again may help."
            )
        if self.unknown_weight >= UNKNOWN_SHARE and self.order:
            said.append(
                f"{100 * self.unknown_weight:.0f} % of what matters lies on things of which some "
                "open option is not known: places are wide for that reason."
            )
        # A place must not make an operation of the past look like any other.
        said += [
            f"{one.row.diversion.name} is {one.row.diversion.standing}: "
            f"{one.row.diversion.standing_note}."
            for one in self.order
            if one.row.diversion.standing != "usual"
        ]
        if self.weights.effective < FEW_EFFECTIVE:
            said.append("The answers leave few weightings that fit them: the shares are rough.")
        return (*said, *STANDING, *self.known.notices)

    def findings(self) -> tuple[Finding, ...]:
        """Return each matter's weight and each open option's place and share of first places."""
        facts = tuple(answer.fact for answer in self.given.answers if answer.fact is not None)
        at = max((day_of(fact.at) for fact in facts), default=day_of(self.at))
        means = self.weights.mean()
        weights = tuple(
            Finding(
                name=f"preference-weight-{one.key}",
                title=f"Part of what matters that lies on: {one.name}",
                value=100 * float(means[n]),
                unit="%",
                at=at,
                method=WEIGHTS,
                facts=facts,
                interval=_percent(self.weights.interval(n)),
                digits=0,
            )
            for n, one in enumerate(self.known.attributes)
        )
        return (*weights, *(one for row in self.order for one in self._placed(row, weights, at)))

    def _placed(
        self, row: Placed, weights: tuple[Finding, ...], at: Moment
    ) -> tuple[Finding, Finding]:
        diversion = row.row.diversion
        held = self.known.holdings.get(diversion.key)
        sources = tuple(dict.fromkeys((*PLACES.sources, *(held.sources if held else ()))))
        said = tuple(f"Not known of it: {name}." for name in row.unknown)
        if held is not None and held.local_source:
            said = (*said, f"By this unit's own protocol: {held.local_source}.")
        method = replace(PLACES, sources=sources)
        place = Finding(
            name=f"preference-place-{diversion.key}",
            title=f"Mean place of {diversion.name} among the open options",
            value=row.place,
            unit="1",
            at=at,
            method=method,
            findings=weights,
            interval=(float(row.span[0]), float(row.span[1])),
            cautions=said,
        )
        error = 100 * 1.96 * (0.25 / self.weights.effective) ** 0.5
        first = Finding(
            name=f"preference-first-{diversion.key}",
            title=f"Weightings in which {diversion.name} comes first",
            value=100 * row.first,
            unit="%",
            at=at,
            method=method,
            findings=weights,
            cautions=(*said, f"Sampling may be off by up to {error:.1f} percentage points."),
            digits=0,
        )
        return place, first


def _percent(interval: tuple[float, float]) -> tuple[float, float]:
    return 100 * interval[0], 100 * interval[1]


def preferences_of(case: Case, appraisal: Appraisal, known: Matters, at: Moment) -> Preferences:
    """Return the order of the open options by the person's own answers.

    Parameters
    ----------
    case : Case
        As known at `at`.
    appraisal : Appraisal
        Decides what is open; the answers change nothing of it.
    known : Matters
    at : date or aware datetime

    Returns
    -------
    Preferences
        Closed options have no part in any number of it.
    """
    given = answers_of(case, known)
    weights = weights_of([one.key for one in known.attributes], given.answers, known.settings)
    rows = appraisal.diversions
    open_ = tuple(row for row in rows if row.verdict in OPEN)
    undecided = tuple(row for row in rows if row.verdict == "not yet decidable")
    places = _places(open_, known, weights)
    # A question is also worth asking for what an undecided option may still become.
    wider = _places((*open_, *undecided), known, weights) if undecided else places
    asking, ranked = next_question(known, given, weights, wider)
    pairs = [(question.first, question.second) for question in ranked]
    lead = places.keys[int(places.shares[:, 0].argmax())] if open_ else ""
    about_open = questions_of(pairs, known, weights, places) if len(open_) > 1 else ()
    wishes, _ = case.word("wishes")
    return Preferences(
        at=at,
        known=known,
        given=given,
        wishes=wishes or "",
        weights=weights,
        places=places,
        order=_order(open_, places, known),
        undecided=undecided,
        closed=tuple(row for row in rows if row.verdict == "closed"),
        asking=asking,
        weight_flips=weight_flips(places, weights),
        answer_flips=answer_flips(about_open, lead, places.keys),
        circles=pulls(given.answers),
        unknown_weight=_unknown_weight(open_, known, weights),
    )


def _places(rows: Sequence[Appraised], known: Matters, weights: Weights) -> Places:
    keys = [row.diversion.key for row in rows]
    return places_of(keys, weights, offers(keys, known, len(weights.share)))


def _order(rows: Sequence[Appraised], places: Places, known: Matters) -> tuple[Placed, ...]:
    names = {row.diversion.key: row.diversion.name for row in rows}
    placed = []
    for number in places.order():
        key = places.keys[number]
        unknown = [one.name for one in known.attributes if known.span(key, one) is None]
        placed.append(
            Placed(
                rows[number],
                float(places.mean_places[number]),
                places.span(number),
                tuple(float(share) for share in places.shares[number]),
                tuple(unknown),
                tuple(names[other] for other in dominators(key, places.keys, known)),
            )
        )
    return tuple(placed)


def _unknown_weight(rows: Sequence[Appraised], known: Matters, weights: Weights) -> float:
    missing = [
        number
        for number, one in enumerate(known.attributes)
        if any(known.span(row.diversion.key, one) is None for row in rows)
    ]
    return float(weights.mean()[missing].sum()) if missing else 0.0
