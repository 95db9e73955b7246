"""`thalweg kidney`: the estimates of kidney function, from values on the line or from a case."""

from __future__ import annotations

from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, Home, Json, On, OwnRules, as_date, emit, print_findings

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("kidney")(kidney)


def _value(name: str, what: str, example: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        name, metavar="VALUE+UNIT", help=f"{what}, such as {example}.", show_default=False
    )
    return option


def kidney(
    case_id: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="A case; its results are used.")
    ] = None,
    age: Annotated[str | None, typer.Option("--age", metavar="YEARS", help="Age in years.")] = None,
    sex: Annotated[
        str | None, typer.Option("--sex", help="'female' or 'male', as the equations use it.")
    ] = None,
    creatinine: Annotated[
        str | None, _value("--creatinine", "Creatinine in blood", "1.2mg/dL or 106umol/L")
    ] = None,
    cystatin: Annotated[str | None, _value("--cystatin", "Cystatin C in blood", "0.9mg/L")] = None,
    height: Annotated[str | None, _value("--height", "Body height", "160cm")] = None,
    weight: Annotated[str | None, _value("--weight", "Body weight", "60kg")] = None,
    measured_gfr: Annotated[
        str | None, _value("--measured-gfr", "Measured clearance", "'58 mL/min/1.73m2'")
    ] = None,
    albumin_ratio: Annotated[
        str | None,
        _value("--albumin-ratio", "Albumin to creatinine ratio in urine", "30mg/g"),
    ] = None,
    urea: Annotated[str | None, _value("--urea", "Urea in blood", "8.9mmol/L")] = None,
    urea_nitrogen: Annotated[
        str | None, _value("--urea-nitrogen", "Urea nitrogen in blood", "25mg/dL")
    ] = None,
    region: Annotated[
        str | None,
        typer.Option(
            "--region",
            help="'north-america' or 'elsewhere', for the risk of kidney failure; default: both.",
            show_default=False,
        ),
    ] = None,
    muscle_loss: Annotated[
        bool, typer.Option("--muscle-loss", help="Spinal-cord injury, spina bifida, amputation.")
    ] = False,
    bowel_in_tract: Annotated[
        bool, typer.Option("--bowel-in-urinary-tract", help="A conduit, pouch or neobladder.")
    ] = False,
    dialysis: Annotated[bool, typer.Option("--on-dialysis", help="On long-term dialysis.")] = False,
    explain: Annotated[
        bool, typer.Option("--explain", help="Also formula, inputs and source of each number.")
    ] = False,
    home: Home = None,
    on: On = None,
    protocol: OwnRules = None,
    as_json: Json = False,
) -> None:
    """Estimate kidney function by every published equation that fits, and say which to trust.

    Every value needs its unit; a bare number is refused. For a case also its course: acute injury,
    decline over the years, each kidney's part.
    """
    from thalweg.service.kidney import kidney_of_case, kidney_of_values

    day = as_date(on)
    values = {
        "age": age,
        "creatinine": creatinine,
        "cystatin-c": cystatin,
        "height": height,
        "weight": weight,
        "measured-gfr": measured_gfr,
        "albumin-creatinine-ratio": albumin_ratio,
        "urea": urea,
        "urea-nitrogen": urea_nitrogen,
    }
    given = {key: text for key, text in values.items() if text is not None}
    flags = {
        "muscle-loss": muscle_loss,
        "bowel-in-urinary-tract": bowel_in_tract,
        "on-dialysis": dialysis,
    }
    if case_id is not None:
        findings = kidney_of_case(
            case_id,
            given,
            sex=sex,
            flags=flags,
            home=home,
            at=day,
            region=region,
            protocol=protocol,
        )
    else:
        findings = kidney_of_values(
            given, sex=sex, flags=flags, at=day, region=region, protocol=protocol
        )

    def human() -> None:
        print_findings(findings, explain=explain)
        typer.echo(CAUTION)

    emit({"findings": findings}, as_json, human)
