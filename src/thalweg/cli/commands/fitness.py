"""`thalweg fitness`: published scores and contrast rules, from values on the line or a case."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from thalweg.cli.output import CAUTION, Home, Json, On, OwnRules, as_date, emit
from thalweg.errors import InputError

__all__ = ["register"]

SHOWN = 4
"""Items named on the line of a score that would narrow it most; --explain shows them all."""


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("fitness")(fitness)


def _value(name: str, what: str, example: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        name, metavar="VALUE+UNIT", help=f"{what}, such as {example}.", show_default=False
    )
    return option


def fitness(
    case_id: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="A case; its record is used.")
    ] = None,
    age: Annotated[str | None, typer.Option("--age", metavar="YEARS", help="Age in years.")] = None,
    sex: Annotated[
        str | None, typer.Option("--sex", help="'female' or 'male', as the equations use it.")
    ] = None,
    creatinine: Annotated[
        str | None, _value("--creatinine", "Creatinine in blood", "2.3mg/dL or 203umol/L")
    ] = None,
    haemoglobin: Annotated[
        str | None, _value("--haemoglobin", "Haemoglobin", "11.8g/dL or 118g/L")
    ] = None,
    albumin: Annotated[str | None, _value("--albumin", "Albumin in blood", "37g/L")] = None,
    spo2: Annotated[str | None, _value("--spo2", "Oxygen saturation, breathing air", "95%")] = None,
    height: Annotated[str | None, _value("--height", "Body height", "164cm")] = None,
    weight: Annotated[str | None, _value("--weight", "Body weight", "67kg")] = None,
    hours: Annotated[str | None, _value("--hours", "Planned duration", "4h")] = None,
    diversion: Annotated[
        str | None,
        typer.Option(
            "--diversion", metavar="KEY", help="Diversion meant, as the catalogue names it."
        ),
    ] = None,
    has: Annotated[
        list[str] | None,
        typer.Option("--has", metavar="ITEM", help="This is there (repeat; see --list)."),
    ] = None,
    lacks: Annotated[
        list[str] | None,
        typer.Option("--lacks", metavar="ITEM", help="This is not there (repeat; see --list)."),
    ] = None,
    value: Annotated[
        list[str] | None,
        typer.Option(
            "--value", metavar="ITEM=ANSWER", help="Any other answer, such as asa-class=III."
        ),
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="SCORE", help="Only this score or rule (repeat)."),
    ] = None,
    list_items: Annotated[
        bool, typer.Option("--list", help="List every item of every score, and stop.")
    ] = False,
    explain: Annotated[
        bool, typer.Option("--explain", help="Also every item with its points, and the sources.")
    ] = False,
    protocol: OwnRules = None,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Score fitness for the operation item by item, and say what contrast the kidneys allow.

    What is not said is not known: totals are then a range, with what would narrow it most. Every
    value needs its unit; a bare number is refused.
    """
    from thalweg.service.answers import Typed
    from thalweg.service.fitness import (
        every_item,
        fitness_json,
        fitness_of_case,
        fitness_of_values,
    )

    if list_items:
        rows = every_item(protocol)
        emit({"rules": rows}, as_json, lambda: _print_items(rows))
        return
    named = {
        "creatinine": creatinine,
        "haemoglobin": haemoglobin,
        "albumin": albumin,
        "oxygen-saturation": spo2,
        "height": height,
        "weight": weight,
        "operation-hours": hours,
        "planned-diversion": diversion,
    }
    values = {key: text for key, text in named.items() if text is not None}
    typed = Typed({**values, **_pairs(value or [])}, tuple(has or ()), tuple(lacks or ()), age, sex)
    day = as_date(on)
    if case_id is not None:
        report = fitness_of_case(case_id, typed, home=home, at=day, protocol=protocol)
    else:
        report = fitness_of_values(typed, at=day, protocol=protocol)
    payload = fitness_json(report, only or [])

    def human() -> None:
        _print_report(payload, explain=explain)
        typer.echo(CAUTION)

    emit(payload, as_json, human)


def _pairs(texts: list[str]) -> dict[str, str]:
    pairs = {}
    for text in texts:
        key, equals, answer = text.partition("=")
        if not equals or not answer.strip():
            raise InputError(
                f"{text!r} has no answer", where="--value", mend="write it like asa-class=III"
            )
        pairs[key.strip()] = answer.strip()
    return pairs


def _print_items(rows: list[dict[str, Any]]) -> None:
    for rule in rows:
        typer.echo(f"{rule['title']}  [{rule['key']}]: {rule['asks']}")
        for item in rule["items"]:
            points = "/".join(f"{one:g}" for one in item["points"])
            typer.echo(f"  {points:>9}  {item['words']}")
            for asked in item["asks"]:
                answers = f": {', '.join(asked['choices'])}" if asked["choices"] else ""
                unit = f", in {asked['unit']}" if asked["unit"] else ""
                typer.echo(f"{'':13}{asked['concept']} ({asked['kind']}{unit}){answers}")


def _print_report(payload: dict[str, Any], *, explain: bool) -> None:
    findings = {row["name"]: row for row in payload["findings"]}
    inline: set[str] = set()
    for rule in (*payload["scores"], *payload["contrast"]):
        main = findings[rule["key"]]
        band = findings.get(f"{rule['key']}-band")
        tail = f"  {band['shown']}" if band else ""
        typer.echo(f"{rule['title']}: {main['shown']}{tail}  [{main['date'][:10]}]")
        if rule["says"]:
            typer.echo(f"    {rule['says']}")
        _print_open(rule)
        for rates in rule["rates"]:
            shown = findings[f"{rule['key']}-rate-{rates['key']}"]["shown"]
            note = f" ({rates['note']})" if rates["note"] else ""
            typer.echo(f"    {shown}: {rates['label']}{note}")
        if explain:
            _print_explained(rule)
        inline |= {rule["says"], f"{rule['title']} could be: {'; '.join(rule['possible'])}."}
        inline |= {rates["note"] for rates in rule["rates"]}
    cautions = [one for row in payload["findings"] for one in row["cautions"]]
    for caution in dict.fromkeys((*cautions, *payload["notices"])):
        if caution not in inline:
            typer.echo(f"! {caution}")


def _print_open(rule: dict[str, Any]) -> None:
    words = {item["key"]: item["words"] for item in rule["items"]}
    lacking = [words[key] for key in rule["narrowed_most_by"]]
    if rule["kind"] == "category":
        lacking = rule["missing_words"]
        if len(rule["possible"]) > 1:
            typer.echo(f"    could be: {'; '.join(rule['possible'])}")
    if lacking:
        more = len(lacking) - SHOWN
        tail = f"; and {more} more" if more > 0 else ""
        typer.echo(f"    not known: {'; '.join(lacking[:SHOWN])}{tail}")


def _print_explained(rule: dict[str, Any]) -> None:
    for item in rule["items"]:
        least, most = item["least_points"], item["most_points"]
        points = f"{least:g}" if least == most else f"{least:g} to {most:g}"
        why = "; ".join(
            f"{fact['concept']} {fact['value']} {fact['unit'] or ''}".strip()
            + f", {fact['at'][:10]}"
            for fact in item["facts"]
        )
        answer = " or ".join(item["possible"]) if item["known"] else "not known"
        typer.echo(f"    {points:>8}  {item['words']}: {answer}" + (f"  ({why})" if why else ""))
    typer.echo(f"    source: {rule['source']}\n")
