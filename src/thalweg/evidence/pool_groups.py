"""Which series may be pooled together, and why the others may not.

Only series of one outcome, one definition, one unit of counting and one population are pooled,
each person once, and never a figure that contradicts itself. The rules stand in
``data/pool-groups.toml``; a unit may put its own in their place.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from thalweg.errors import InputError
from thalweg.evidence.outcome import definitions, outcomes
from thalweg.evidence.protocol import Rules, merged

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from thalweg.evidence.outcome import Definition, Outcome
    from thalweg.evidence.series import Series

__all__ = ["LeftOut", "PoolGroup", "pool_groups", "pool_rules"]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A series that was kept out of a pool, and a sentence saying why."""

    series: Series
    why: str


@dataclass(frozen=True, slots=True)
class PoolGroup:
    """Series that may be pooled together.

    Parameters
    ----------
    outcome : str
        Key of the outcome.
    definition_group : str
        Key of the definition.
    unit : str
        What is counted.
    population : str
        Of whom.
    diversion : str or None
        Whose pool it is; None where all diversions stand together.
    series : tuple of Series
        Each with a count; never one person twice as far as the publications tell.
    left_out : tuple of LeftOut
        Those that fit by outcome, definition, unit and population, but stay out.
    cautions : tuple of str
        Sentences that belong beside the pooled figure.
    """

    outcome: str
    definition_group: str
    unit: str
    population: str
    diversion: str | None
    series: tuple[Series, ...]
    left_out: tuple[LeftOut, ...]
    cautions: tuple[str, ...]

    @property
    def events(self) -> tuple[int, ...]:
        """Events of each series, in their order."""
        return tuple(one.events for one in self.series if one.events is not None)

    @property
    def totals(self) -> tuple[int, ...]:
        """Counted units at risk of each series, in their order."""
        return tuple(one.n for one in self.series)

    @property
    def what(self) -> Outcome:
        """The outcome itself."""
        return outcomes()[self.outcome]

    @property
    def how(self) -> Definition:
        """The definition itself."""
        return definitions()[self.definition_group]


@cache
def _ours() -> Mapping[str, Mapping[str, Any]]:
    page = files("thalweg.evidence").joinpath("data/pool-groups.toml")
    table = tomllib.loads(page.read_text(encoding="utf-8"))
    return {f"{part}.{key}": row for part, rows in table.items() for key, row in rows.items()}


def pool_rules(theirs: Mapping[str, Any] | None = None) -> Rules:
    """Return the rules of pooling, a unit's own rows in place of ours.

    Parameters
    ----------
    theirs : mapping, optional
        Tables ``together``, ``company`` and ``leave-out`` of rows by key.

    Raises
    ------
    InputError
        If a row is not a table, names no source, or is not one of ours.
    """
    flat: dict[str, Any] = {}
    for part, rows in (theirs or {}).items():
        if part not in {"together", "company", "leave-out"} or not isinstance(rows, dict):
            raise InputError(
                f"{part!r} is not a part of the rules of pooling",
                where="protocol pooling.toml",
                mend="use [together.…], [company.…] or [leave-out.…]",
            )
        flat |= {f"{part}.{key}": row for key, row in rows.items()}
    rules = merged("pooling", _ours(), flat)
    for key in flat:
        _sound(key, rules.rows[key])
    return rules


def _sound(key: str, row: Mapping[str, Any]) -> None:
    where = f"protocol pooling.toml [{key}]"
    if not isinstance(row.get("says"), str):
        raise InputError("it has no words for the page", where=where, mend='add says = "…"')
    if key.startswith("leave-out."):
        if key not in _ours():
            raise InputError("there is no such rule", where=where, mend="use one of ours")
        if not isinstance(row.get("applies"), bool):
            raise InputError("it does not say whether it applies", where=where, mend="add applies")
    elif not (
        isinstance(row.get("diversions"), list)
        and all(isinstance(one, str) for one in row["diversions"])
    ):
        raise InputError("it names no diversions", where=where, mend="add diversions = [...]")


def pool_groups(
    rows: Sequence[Series], *, diversion: str | None = None, rules: Rules | None = None
) -> tuple[PoolGroup, ...]:
    """Return the pools that the rows allow, in the order of outcome, definition and unit.

    Parameters
    ----------
    rows : sequence of Series
        As `thalweg.evidence.series.published` returns them.
    diversion : str, optional
        Key of the catalogue whose people are meant; None pools all diversions together, which
        is right only for what hardly depends on it, such as death after removal of the bladder.
    rules : Rules, optional
        As `pool_rules` returns them; ours where None.

    Returns
    -------
    tuple of PoolGroup
        Also those whose series were all left out, so that the reason can be shown.
    """
    rules = rules or pool_rules()
    family, says = _family(diversion, rules)
    order = list(definitions())
    grouped: dict[tuple[int, str, str], list[Series]] = {}
    for one in rows:
        if diversion is None or family & set(one.diversions):
            key = (order.index(one.definition_group), one.unit, one.population)
            grouped.setdefault(key, []).append(one)
    return tuple(_group(diversion, members, rules, says) for _, members in sorted(grouped.items()))


def _family(diversion: str | None, rules: Rules) -> tuple[set[str], tuple[str, ...]]:
    """Return the diversions pooled as one with this one, and what the pool has to say of it."""
    if diversion is None:
        return set(), ("People with different diversions stand together.",)
    for key, row in rules.rows.items():
        if key.startswith("together.") and diversion in row["diversions"]:
            return set(row["diversions"]), (_sentence(row["says"]),)
    return {diversion}, ()


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _group(
    diversion: str | None, members: list[Series], rules: Rules, says: tuple[str, ...]
) -> PoolGroup:
    kept, left_out, company = [], [], False
    for one in sorted(members, key=lambda row: (row.year, row.key)):
        why = _why_not(one, rules) or _why_mixed(one, diversion, rules)
        if why:
            left_out.append(LeftOut(one, _sentence(why)))
        else:
            kept.append(one)
    kept, again = _each_once(kept, rules)
    if diversion is not None:
        family, _ = _family(diversion, rules)
        company = any(set(one.diversions) - family for one in kept)
    first = members[0]
    return PoolGroup(
        first.outcome,
        first.definition_group,
        first.unit,
        first.population,
        diversion,
        tuple(kept),
        (*left_out, *again),
        (
            *says,
            *((_sentence(rules.rows[f"company.{diversion}"]["says"]),) if company else ()),
            *_cautions(kept),
            *((rules.notice,) if rules.notice else ()),
        ),
    )


def _applies(name: str, rules: Rules) -> str:
    """Return the words of a rule that applies, else an empty string."""
    row = rules.rows[f"leave-out.{name}"]
    return str(row["says"]) if row["applies"] else ""


def _why_not(one: Series, rules: Rules) -> str:
    """Return why a series may not be pooled with any other, or an empty string."""
    if one.excluded and (says := _applies("excluded", rules)):
        return f"{says}: {one.excluded}"
    if one.events is None:
        # Without a count there is nothing to pool: no rule of a unit can change that.
        name = "no-count" if one.survival_percent is None else "share-only"
        return str(rules.rows[f"leave-out.{name}"]["says"])
    untimed = one.follow_up_months is None and one.at_months is None
    reasons = (
        ("memory", one.read == "memory"),
        ("review", one.design == "review"),
        ("no-follow-up", untimed and one.what.timing == "late"),
    )
    return next((says for name, so in reasons if so and (says := _applies(name, rules))), "")


def _why_mixed(one: Series, diversion: str | None, rules: Rules) -> str:
    if diversion is None:
        return ""
    family, _ = _family(diversion, rules)
    company = set(rules.rows.get(f"company.{diversion}", {}).get("diversions", ()))
    return _applies("mixed-diversions", rules) if set(one.diversions) - family - company else ""


def _each_once(kept: list[Series], rules: Rules) -> tuple[list[Series], list[LeftOut]]:
    """Return the rows without people who stand twice, and those that gave way."""
    left_out: list[LeftOut] = []
    overlap, same = _applies("overlap", rules), _applies("same-people", rules)
    for one in list(kept):
        others = [row for row in kept if row is not one]
        shared = {row.source for row in others} & set(one.overlaps)
        twin = next((row for row in others if _outlives(row, one)), None)
        why = ""
        if overlap and shared:
            why = f"{overlap}, in {', '.join(sorted(shared))}"
        elif same and twin:
            why = f"{same}, as {twin.key}"
        if why:
            kept = others
            left_out.append(LeftOut(one, _sentence(why)))
    return kept, left_out


def _outlives(row: Series, one: Series) -> bool:
    """Whether `row` counts the people of `one` too, and goes before it.

    Groups of a study go before its whole; among the same people, the longest look.
    """
    if row.source != one.source or row.own:
        return False
    if row.arm != one.arm:
        return not one.arm
    return _looked(row) > _looked(one)


def _looked(one: Series) -> tuple[float, str]:
    return (one.at_months or one.follow_up_months or 0.0, one.key)


def _cautions(kept: Iterable[Series]) -> tuple[str, ...]:
    kept = tuple(kept)
    untimed = [one.key for one in kept if one.follow_up_months is None and one.at_months is None]
    late = [one for one in kept if one.what.timing == "late"]
    times = sorted(one.follow_up_months for one in late if one.follow_up_months)
    said = []
    if late and untimed:
        said.append(f"How long people were followed is not known in {', '.join(untimed)}.")
    if len(times) > 1 and times[-1] > 2 * times[0]:
        said.append(
            f"People were followed for {times[0]:g} to {times[-1]:g} months: the longer, the "
            "more is found, so that the series are not alike."
        )
    for read, words in (("secondary", "quoted elsewhere"), ("memory", "remembered")):
        if keys := [one.key for one in kept if one.read == read]:
            said.append(f"Figures {words}, not read in the publication: {', '.join(keys)}.")
    if any(one.unit in {"renal unit", "ureter"} for one in kept):
        said.append(
            "Two kidneys of one person are counted as if they were independent; the interval is "
            "too narrow."
        )
    if any(one.own for one in kept):
        said.append("This unit's own outcomes are among the series.")
    return tuple(said)
