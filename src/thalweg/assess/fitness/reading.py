"""Read a score or category from the table that writes it down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast, get_args

from thalweg.assess.fitness.form import Applies, Band, Item, Level, RateSet, Rule, Weight
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography
from thalweg.evidence.conditions.reading import parse
from thalweg.record.method import Method

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["read_rule"]

UNIT_PROTOCOL = "unit-protocol"


def _text(row: Mapping[str, Any], name: str, *, needed: bool = True) -> str:
    value = row.get(name, "")
    if not isinstance(value, str) or (needed and not value.strip()):
        raise InputError(f"{name!r} is missing", mend=f'add {name} = "…"')
    return value.strip()


def _number(row: Mapping[str, Any], name: str) -> float:
    value = row.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{name} is {value!r}, not a number", mend=f"write {name} = 1")
    return float(value)


def _weight(row: Mapping[str, Any]) -> Weight:
    word = row.get("weight", "plain")
    if word not in get_args(Weight):
        raise InputError(f"weight = {word!r}", mend=f"choose {', '.join(get_args(Weight))}")
    return cast("Weight", word)


def _level(row: Mapping[str, Any]) -> Level:
    when = parse(row["when"]) if "when" in row else None
    points = _number(row, "points") if "points" in row else 0.0
    name = _text(row, "name")
    return Level(name, points, when, _text(row, "says", needed=False), _weight(row))


def _levels(row: Mapping[str, Any]) -> tuple[Level, ...]:
    if "when" in row:
        when = parse(row["when"])
        return (Level("yes", _number(row, "points"), when), Level("no", 0.0, None))
    levels = tuple(_level(one) for one in row.get("level", ()))
    if len(levels) < 2 or any(one.when is None for one in levels[:-1]) or levels[-1].when:
        raise InputError(
            "the levels do not cover every person",
            mend="give at least two, of which the last alone has no 'when'",
        )
    return levels


def _band(row: Mapping[str, Any]) -> Band:
    says = _text(row, "says", needed=False)
    return Band(_number(row, "least"), _text(row, "name"), says, _weight(row))


def _item(row: Mapping[str, Any]) -> Item:
    return Item(
        _text(row, "key"), _text(row, "words"), _levels(row), _text(row, "note", needed=False)
    )


def _rates(row: Mapping[str, Any], *, own: bool) -> RateSet:
    events, of = tuple(row.get("events", ())), tuple(row.get("of", ()))
    percent = tuple(float(one) for one in row.get("percent", ()))
    least = tuple(float(one) for one in row.get("least", ()))
    sizes = {len(one) for one in (events, of, percent) if one} | {len(least)}
    if len(sizes) != 1 or not least or bool(events) == bool(percent) or (events and not of):
        raise InputError(
            "the rates do not fit their groups",
            mend="give for each of 'least' either events and of, or percent",
        )
    if list(least) != sorted(set(least)):
        raise InputError("the groups do not ascend", mend="sort 'least'")
    sources, _ = _sources(row, own=own)
    return RateSet(
        _text(row, "key"),
        _text(row, "label"),
        least,
        events,
        of,
        percent,
        int(row.get("decimals", 0)),
        sources,
        _text(row, "note", needed=False),
    )


def _sources(row: Mapping[str, Any], *, own: bool) -> tuple[tuple[str, ...], str]:
    """Return bibliography keys, and the words in which a unit names its own source."""
    named = row.get("source", ())
    keys = tuple(map(str, named)) if isinstance(named, list) else (str(named),) if named else ()
    if not keys:
        raise InputError("no source is named", mend='add source = "…"')
    if not own:
        return keys, ""
    known = tuple(key for key in keys if key in bibliography())
    local = "; ".join(key for key in keys if key not in bibliography())
    return (*known, *((UNIT_PROTOCOL,) if local else ())), local


def _formula(items: tuple[Item, ...], *, score: bool) -> str:
    if not score:
        return "the first of: " + "; ".join(one.name for one in items[0].levels)
    parts = [
        f"{item.words} ({', '.join(f'{one.points:g}' for one in item.levels)})" for item in items
    ]
    return "sum of the points for: " + "; ".join(parts)


def read_rule(key: str, row: Mapping[str, Any], *, own: bool = False) -> Rule:
    """Return the score or category that a table writes down.

    Parameters
    ----------
    key : str
        Its name.
    row : mapping
        With ``title``, ``asks``, ``valid_for``, ``source`` and either ``item``, ``band`` (and
        ``rates``), or ``level``.
    own : bool
        Whether it comes from the unit's own protocol, whose source need not be a bibliography key.

    Raises
    ------
    InputError
        If the table is not of its form; the sentence says where and the mend.
    """
    try:
        return _read(key, row, own=own)
    except InputError as error:
        raise error.at(f"[{key}]") from None


def _read(key: str, row: Mapping[str, Any], *, own: bool) -> Rule:
    title = _text(row, "title")
    if "level" in row:
        items: tuple[Item, ...] = (Item(key, title, _levels(row)),)
    else:
        items = tuple(_item(one) for one in row.get("item", ()))
    bands = tuple(_band(one) for one in row.get("band", ()))
    if not items or bool(bands) == ("level" in row):
        raise InputError("it has no items with bands, and no levels", mend="give one or the other")
    if [band.least for band in bands] != sorted({band.least for band in bands}):
        raise InputError("the bands do not ascend", mend="sort them by 'least'")
    applies = None
    if "applies" in row:
        part = row["applies"]
        applies = Applies(parse(part.get("when")), _text(part, "otherwise"))
    sources, local = _sources(row, own=own)
    method = Method(
        key=f"fitness-{key}",
        title=title,
        formula=_formula(items, score=bool(bands)),
        valid_for=_text(row, "valid_for"),
        sources=sources,
        cautions=tuple(map(str, row.get("cautions", ()))),
    )
    rates = tuple(_rates(one, own=own) for one in row.get("rates", ()))
    rule = Rule(
        key,
        title,
        _text(row, "asks"),
        items,
        bands,
        rates,
        method,
        applies,
        _text(row, "undecided", needed=False),
        local,
        _text(row, "extends", needed=False),
    )
    _check_shared(rule)
    return rule


def _check_shared(rule: Rule) -> None:
    """Refuse what would make the range of totals wider than it is.

    Least and most are sums over items, which is exact only while no unknown answer serves two
    items. Age is always known and may.
    """
    bad = [name for name in rule.shared if name != "age"]
    if bad:
        raise InputError(
            f"{', '.join(bad)} is asked by several items", mend="put them into the levels of one"
        )
