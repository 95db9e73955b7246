"""`thalweg chemistry`: acid-base and electrolytes, from values on the line or from a case."""

from __future__ import annotations

from typing import Annotated

import typer

from thalweg.cli.output import CAUTION, Home, Json, On, OwnRules, as_date, emit, print_findings

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("chemistry")(chemistry)


def _value(name: str, what: str, example: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        name, metavar="VALUE+UNIT", help=f"{what}, such as {example}.", show_default=False
    )
    return option


def _flag(name: str, what: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, help=what)
    return option


def chemistry(
    case_id: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="A case; its results are used.")
    ] = None,
    sodium: Annotated[str | None, _value("--sodium", "Sodium in blood", "137mmol/L")] = None,
    potassium: Annotated[str | None, _value("--potassium", "Potassium", "4.1mmol/L")] = None,
    chloride: Annotated[str | None, _value("--chloride", "Chloride", "112mmol/L")] = None,
    bicarbonate: Annotated[
        str | None, _value("--bicarbonate", "Bicarbonate, measured", "18mmol/L")
    ] = None,
    total_co2: Annotated[
        str | None, _value("--total-co2", "Total CO2, where that was measured", "19mmol/L")
    ] = None,
    albumin: Annotated[str | None, _value("--albumin", "Albumin", "38g/L or 3.8g/dL")] = None,
    ph: Annotated[
        str | None, typer.Option("--ph", metavar="PH", help="pH of the blood gas, such as 7.31.")
    ] = None,
    pco2: Annotated[
        str | None, _value("--pco2", "Carbon dioxide of the blood gas", "32mmHg or 4.3kPa")
    ] = None,
    sample: Annotated[
        str | None,
        typer.Option("--sample", help="Of the blood gas: 'arterial', 'capillary' or 'venous'."),
    ] = None,
    base_excess: Annotated[str | None, _value("--base-excess", "Base excess", "-4.2mmol/L")] = None,
    magnesium: Annotated[
        str | None, _value("--magnesium", "Magnesium", "0.8mmol/L, 1.9mg/dL or 1.6meq/L")
    ] = None,
    calcium: Annotated[
        str | None, _value("--calcium", "Calcium, total", "2.3mmol/L or 9.2mg/dL")
    ] = None,
    ionised_calcium: Annotated[
        str | None, _value("--ionised-calcium", "Calcium, ionised", "1.18mmol/L")
    ] = None,
    urea: Annotated[str | None, _value("--urea", "Urea", "8.9mmol/L")] = None,
    glucose: Annotated[str | None, _value("--glucose", "Glucose", "5.6mmol/L")] = None,
    osmolality: Annotated[
        str | None, _value("--osmolality", "Osmolality, measured", "290mOsm/kg")
    ] = None,
    urine_sodium: Annotated[
        str | None, _value("--urine-sodium", "Sodium in urine", "40mmol/L")
    ] = None,
    urine_potassium: Annotated[
        str | None, _value("--urine-potassium", "Potassium in urine", "30mmol/L")
    ] = None,
    urine_chloride: Annotated[
        str | None, _value("--urine-chloride", "Chloride in urine", "90mmol/L")
    ] = None,
    weight: Annotated[str | None, _value("--weight", "Body weight", "70kg")] = None,
    segment: Annotated[
        str | None,
        typer.Option(
            "--segment",
            help="Bowel urine touches: none, stomach, jejunum, ileum, 'ileum and colon' or colon.",
        ),
    ] = None,
    bowel_in_tract: Annotated[
        bool,
        _flag("--bowel-in-urinary-tract", "A conduit, pouch or neobladder, segment not known."),
    ] = False,
    diarrhoea: Annotated[bool, _flag("--diarrhoea", "Diarrhoea or a bowel fistula.")] = False,
    vomiting: Annotated[bool, _flag("--vomiting", "Vomiting or a gastric tube.")] = False,
    alkali: Annotated[bool, _flag("--alkali-taken", "Takes bicarbonate or citrate.")] = False,
    liver_failure: Annotated[bool, _flag("--liver-failure", "Significant liver disease.")] = False,
    protocol: OwnRules = None,
    explain: Annotated[
        bool, typer.Option("--explain", help="Also formula, inputs and source of each number.")
    ] = False,
    home: Home = None,
    on: On = None,
    as_json: Json = False,
) -> None:
    """Read acid-base and electrolytes: which disturbance, how large, and could bowel explain it.

    Every value needs its unit; a bare number is refused, but for pH. What was not measured is not
    guessed: it is said what would settle it.
    """
    from thalweg.service.chemistry import chemistry_of_case, chemistry_of_values

    values = {
        "sodium": sodium,
        "potassium": potassium,
        "chloride": chloride,
        "bicarbonate": bicarbonate,
        "total-co2": total_co2,
        "albumin": albumin,
        "ph": ph,
        "pco2": pco2,
        "base-excess": base_excess,
        "magnesium": magnesium,
        "calcium": calcium,
        "ionised-calcium": ionised_calcium,
        "urea": urea,
        "glucose": glucose,
        "osmolality": osmolality,
        "urine-sodium": urine_sodium,
        "urine-potassium": urine_potassium,
        "urine-chloride": urine_chloride,
        "weight": weight,
    }
    given = {key: text for key, text in values.items() if text is not None}
    flags = {
        "bowel-in-urinary-tract": bowel_in_tract,
        "diarrhoea": diarrhoea,
        "vomiting": vomiting,
        "alkali-taken": alkali,
        "liver-failure": liver_failure,
    }
    day = as_date(on)
    if case_id is not None:
        findings = chemistry_of_case(
            case_id,
            given,
            flags,
            sample=sample,
            segment=segment,
            protocol=protocol,
            home=home,
            at=day,
        )
    else:
        findings = chemistry_of_values(
            given, flags, sample=sample, segment=segment, protocol=protocol, at=day
        )

    def human() -> None:
        print_findings(findings, explain=explain)
        typer.echo(CAUTION)

    emit({"findings": findings}, as_json, human)
