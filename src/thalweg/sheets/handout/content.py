"""What goes into a sheet for the person, and the plain words of one diversion."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.sheets.pictures.diversions import DIAGRAMS, diversion_picture

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from thalweg.evidence.figures import Figure
    from thalweg.plan.appraise import Appraisal
    from thalweg.plan.appraised import Appraised
    from thalweg.plan.catalogue import Diversion
    from thalweg.record.case import Case
    from thalweg.sheets.document import Picture
    from thalweg.sheets.messages import Wording

__all__ = ["HandoutContent", "Option", "Told", "cannot_happen", "standing", "told"]


@dataclass(frozen=True, eq=False)
class Option:
    """One diversion that is not closed for this person.

    Parameters
    ----------
    row : Appraised
    figures : tuple of Figure
        What was published of it, one for each outcome.
    side : str or None
        Of its stoma or tube, for the diagram.
    place_mm : tuple of float or None
        Of its stoma from the navel, to the left and up.
    example : bool
        That place is one of several that are marked.
    """

    row: Appraised
    figures: tuple[Figure, ...] = ()
    side: str | None = None
    place_mm: tuple[float, float] | None = None
    example: bool = False

    @property
    def key(self) -> str:
        """The diversion's."""
        return self.row.diversion.key

    def figure(self, outcome: str) -> Figure | None:
        """Return what was published of an outcome, or None."""
        return next((one for one in self.figures if one.outcome == outcome), None)


@dataclass(frozen=True, eq=False)
class HandoutContent:
    """Everything that the sheet for the talk says.

    Parameters
    ----------
    case : Case
    at : date
    appraisal : Appraisal
    options : tuple of Option
        Each diversion that is open or not yet decidable, in the catalogue's order.
    adult : bool
        Whether the texts and figures are about people of this age.
    notices : tuple of str
        Which rules the unit's own protocol replaced.
    """

    case: Case
    at: date
    appraisal: Appraisal
    options: tuple[Option, ...]
    adult: bool = True
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Told:
    """One diversion in plain words.

    Parameters
    ----------
    name, short, medical : str
        Its plain name, the same in two or three words, and its medical one.
    what, operation, blood : str
    daily, checks, alarm : tuple of str
    glance : mapping
        ``out``, ``bag``, ``tube`` and ``bowel`` in a few words each.
    own_words : bool
        They are the unit's own, not of our texts.
    """

    name: str
    short: str
    medical: str
    what: str
    operation: str
    blood: str
    daily: tuple[str, ...]
    checks: tuple[str, ...]
    alarm: tuple[str, ...]
    glance: Mapping[str, str]
    own_words: bool = False

    def picture(self, option: Option, words: Wording, *, size: Any, share: float) -> Picture | None:
        """Return its diagram, or None where there is none."""
        if option.key not in DIAGRAMS:
            return None
        return diversion_picture(
            option.key,
            side=option.side,
            site_mm=option.place_mm,
            words=words.raw,
            right_to_left=words.right_to_left,
            size=size,
            share=share,
        )


def standing(diversion: Diversion, words: Wording) -> tuple[str, ...]:
    """Return that a way is a last resort, hardly done any more or for children, where it is."""
    key = {"last resort": "each.last-resort", "historical": "each.historical"}
    said = [words(key[diversion.standing])] if diversion.standing in key else []
    if diversion.published_for == "children":
        said.append(words("each.children"))
    return tuple(said)


@cache
def _parts() -> Mapping[str, Mapping[str, Any]]:
    page = files("thalweg.sheets.handout").joinpath("parts.toml")
    return tomllib.loads(page.read_text(encoding="utf-8"))


def cannot_happen(diversion: str) -> frozenset[str]:
    """Return the outcomes that a diversion's build leaves no room for."""
    return frozenset(_parts().get(diversion, {}).get("cannot", ()))


def told(diversion: Diversion, words: Wording) -> Told:
    """Return a diversion in plain words: ours, or the unit's own where it is not one of ours.

    A unit that put its own entry in the place of ours does something else under the same name; its
    own words are then the ones to print.
    """
    key = diversion.key
    if diversion.local_source or key not in _parts():
        return _own(diversion, words)
    part = _parts()[key]
    name = f"label.diversion.{key}"
    return Told(
        name=words(f"{name}.name"),
        short=words(f"{name}.short"),
        medical=words(f"diagram.title.{key}"),
        what=words(f"diversion.{key}.what"),
        operation=words(f"diversion.{key}.operation"),
        blood=words(f"blood.{part['blood']}"),
        daily=tuple(words(f"daily.{one}") for one in part["daily"]),
        checks=tuple(words(f"checks.{one}") for one in part["checks"]),
        alarm=tuple(words(f"alarm.{one}") for one in part["alarm"]),
        glance={one: words(f"{name}.{one}") for one in ("out", "bag", "tube", "bowel")},
    )


def _own(diversion: Diversion, words: Wording) -> Told:
    if not diversion.description:
        raise InputError(
            f"{diversion.key} has no description", mend="add one to your catalogue.toml"
        )
    name = diversion.name[:1].upper() + diversion.name[1:]
    own = words.own
    return Told(
        name=own(name),
        short=own(name),
        medical=own(name),
        what=own(diversion.description),
        operation="",
        blood=own(diversion.metabolic),
        daily=tuple(own(one) for one in diversion.burdens),
        checks=tuple(own(one) for one in diversion.follow_up),
        alarm=(),
        glance={
            "out": words("label.unknown"),
            "bag": words("label.unknown"),
            "tube": own(diversion.tubes) or words("label.nothing"),
            "bowel": own(diversion.bowel) or words("label.nothing"),
        },
        own_words=True,
    )
