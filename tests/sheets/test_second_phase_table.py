"""Each reading of a second phase as a row of the plan's table; unit and doubt are always said."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from thalweg.measure.course import Narrowing
from thalweg.measure.phases import Compared, Phases, Verdict
from thalweg.sheets.document import Cautions, Cell, Table, Text, Tone
from thalweg.sheets.plan.second_phase import PlannedPhase, phase_blocks

NARROW = Narrowing(40.0, 50.0, 1.6, 4.0)
FINE = Narrowing(40.0, 50.0, 1.9, 4.0, less_than=True)


def phases(*stretches: Compared) -> Phases:
    return Phases(stretches, np.zeros(3), np.zeros(3), 0.4, 1.0, 3.0, ())


def stretch(verdict: Verdict, calibre: float | None, narrow: Narrowing | None) -> Compared:
    kind = "gap" if narrow is None else "narrowing"
    return Compared(kind, 40.0, 50.0, verdict, calibre, "said", narrow)


@pytest.mark.parametrize(
    ("one", "first", "second", "reading", "tone"),
    [
        (stretch(Verdict.OPENED, 4.1, NARROW), "narrowing, 1.6 mm", "open, 4.1 mm", "not fixed", 0),
        (stretch(Verdict.OPENED, 4.1, None), "gap, no contrast", "open, 4.1 mm", "not fixed", 0),
        (
            stretch(Verdict.HELD, 1.8, FINE),
            "narrowing, less than 1.9 mm",
            "narrow, 1.8 mm",
            "holds",
            1,
        ),
        (stretch(Verdict.HELD, None, None), "gap, no contrast", "no contrast", "both times", 1),
        (stretch(Verdict.NOT_SEEN, None, NARROW), "narrowing, 1.6 mm", "not seen", "not known", 2),
    ],
)
def test_rows(one: Compared, first: str, second: str, reading: str, tone: int) -> None:
    (table,) = phase_blocks(PlannedPhase(phases(one), date(2026, 3, 2)))
    assert isinstance(table, Table)
    assert "of 2026-03-02" in table.caption
    assert "[thalweg-engineering]" in table.caption
    ((stations, *cells, last),) = table.rows
    assert (stations, *cells) == ("40 to 50", first, second)
    assert isinstance(last, Cell)
    assert reading in last.text
    assert last.tone is (Tone.GOOD, Tone.CARE, Tone.UNKNOWN)[tone]


def test_nothing_to_look_up_and_nothing_used() -> None:
    (text,) = phase_blocks(PlannedPhase(phases(), date(2026, 3, 2)))
    assert isinstance(text, Text)
    assert "no gap and no narrowing" in text.text
    (cautions,) = phase_blocks(PlannedPhase(None, problem="It was not used."))
    assert isinstance(cautions, Cautions)
    assert cautions.items == ("It was not used.",)
