"""The simulation against closed forms: competing risks, Poisson counts, life tables, renewals.

Every tolerance is a number of standard errors of the mean from the number of lives, so that it
narrows as more are simulated; 4.5 of them are exceeded by chance once in 150,000 checks.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.lives import (
    early,
    error_of,
    late,
    lived_by,
    mean_of,
    option,
    person,
    spread,
    steady_table,
)

from thalweg.errors import InputError
from thalweg.evidence.lifetables import life_table
from thalweg.plan.lifecourse.estimate import estimated
from thalweg.plan.lifecourse.quantity import certain
from thalweg.plan.lifecourse.rates import Burden, Excess, GfrChange, LateEvent, Tube
from thalweg.plan.lifecourse.shape import Shape

ERRORS = 4.5
H, M = 0.12, 0.07
YEARS = (1.0, 5.0, 10.0)


def test_cumulative_incidence_under_death_has_its_closed_form() -> None:
    """h/(h+m) (1 - exp(-(h+m) t)): two constant hazards, the first to strike counts."""
    course = lived_by(person(steady_table(M)), option(late=(late("x", H),)))
    for n, t in enumerate((*YEARS, np.inf)):
        exact = H / (H + M) * (1 - np.exp(-(H + M) * t))
        seen, error = mean_of(course, "event:x", n), error_of(course, "event:x", n)
        assert abs(seen - exact) < ERRORS * error
        assert error < 0.0017


def test_three_causes_of_death_share_as_their_hazards_do() -> None:
    """Survival is the product of the three; the excess ends after its years."""
    excess = Excess("cancer", "cancer", certain("cancer", 0.2), until_years=4.0)
    start = person(steady_table(M), excess=(excess,))
    course = lived_by(start, option(death=early("d", 0.06), death_days=90.0))
    from_year = 90 / 365.25
    for n, t in enumerate(YEARS):
        exact = 0.94 * np.exp(-M * (t - from_year) - 0.2 * (min(t, 4.0) - from_year))
        assert abs(mean_of(course, "survival", n) - exact) < ERRORS * error_of(
            course, "survival", n
        )


@pytest.mark.parametrize(("sex", "printed"), [("male", 17.48), ("female", 20.12)])
def test_lives_last_as_long_as_the_table_prints(sex: str, printed: float) -> None:
    """Expectation at 65 of the Social Security Administration's table of 2022."""
    table = life_table("male" if sex == "male" else "female")
    course = lived_by(person(table, age=65.0), option())
    seen, error = mean_of(course, "years-lived", 3), error_of(course, "years-lived", 3)
    assert abs(seen - table.expectation(65.0)) < ERRORS * error
    assert seen == pytest.approx(printed, abs=0.2)
    for n, t in enumerate(YEARS):
        alive = float(table.survival(65.0, t))
        assert abs(mean_of(course, "survival", n) - alive) < ERRORS * error_of(
            course, "survival", n
        )


def test_recurring_events_come_as_often_as_a_life_allows() -> None:
    """Mean h/m (1 - exp(-m t)) and, over a whole life, a geometric count: chance h/(h+m) of any."""
    each = certain("nights", 1.0)
    course = lived_by(
        person(steady_table(M)),
        option(late=(late("x", 0.5, again=True),), nights=(Burden("x", "x", each),)),
    )
    for n, t in enumerate((*YEARS, np.inf)):
        exact = 0.5 / M * (1 - np.exp(-M * t))
        assert abs(mean_of(course, "nights", n) - exact) < ERRORS * error_of(course, "nights", n)
    anyone = mean_of(course, "event:x", 3)
    assert abs(anyone - 0.5 / (0.5 + M)) < ERRORS * error_of(course, "event:x", 3)
    # A geometric count over a life has variance mean (1 + mean).
    mean = 0.5 / M
    variance = course.tallies["a"].figures["nights"].error[3].mean() * (course.lives / 200 - 1)
    assert variance == pytest.approx(mean * (1 + mean), rel=0.05)


def test_a_front_loaded_hazard_strikes_when_its_shape_says() -> None:
    shape = Shape((0.0, 0.5, 3.0), (0.0, 0.2, 0.3), 0.01)
    event = late("x", 1.7, shape=shape)
    course = lived_by(person(steady_table(1e-9)), option(late=(event,)), years=(0.25, 2.0, 8.0))
    for n, summed in enumerate((0.1, 0.2 + 0.1 * 1.5 / 2.5, 0.3 + 0.05)):
        exact = 1 - np.exp(-1.7 * summed)
        assert abs(mean_of(course, "event:x", n) - exact) < ERRORS * error_of(course, "event:x", n)


def test_two_units_are_struck_apart() -> None:
    course = lived_by(
        person(steady_table(1e-9)), option(lost_unit=late("lost", 0.03, per_unit=True))
    )
    exact = 1 - np.exp(-0.03 * 10) ** 2
    assert abs(mean_of(course, "lost-unit", 2) - exact) < ERRORS * error_of(course, "lost-unit", 2)


def test_tubes_are_changed_by_the_calendar_and_end_with_life() -> None:
    """A tube for life: changes are years lived over the interval; days are those lived."""
    tube = Tube(always=True, every_weeks=certain("weeks", 8.0), per_unit=True)
    course = lived_by(person(steady_table(M)), option(tube=tube))
    lived_years = (1 - np.exp(-M * 10.0)) / M
    changes = 2 * lived_years * 365.25 / 56
    seen, error = mean_of(course, "tube-changes", 2), error_of(course, "tube-changes", 2)
    assert abs(seen - changes) < ERRORS * error
    days = mean_of(course, "tube-days", 2)
    assert abs(days - 365.25 * lived_years) < ERRORS * error_of(course, "tube-days", 2)


def test_days_with_a_tube_count_either_side_once() -> None:
    """Each unit's tube starts at rate h for good: the person has one from the first of both."""
    tube = Tube(first_days=certain("first", 0.0), kept=late("kept", 0.3), per_unit=True)
    course = lived_by(person(steady_table(1e-9)), option(tube=tube))
    rate, t = 0.6, 10.0
    exact = 365.25 * (t - (1 - np.exp(-rate * t)) / rate)
    assert abs(mean_of(course, "tube-days", 2) - exact) < ERRORS * error_of(course, "tube-days", 2)
    one = lived_by(person(steady_table(1e-9), units=1), option(tube=tube))
    single = 365.25 * (t - (1 - np.exp(-0.3 * t)) / 0.3)
    assert abs(mean_of(one, "tube-days", 2) - single) < ERRORS * error_of(one, "tube-days", 2)


def test_the_filtration_rate_falls_as_written_down() -> None:
    """60 - 2 t, less a tenth over 5 years; failed below 15 after (worked by hand) 21.43 years."""
    start = person(steady_table(1e-9), gfr_per_year=certain("slope", -2.0))
    course = lived_by(
        start,
        option(gfr_change=GfrChange(certain("change", -10.0), 5.0)),
        years=(2.5, 10.0, 21.4, 21.7),
    )
    rates = course.tallies["a"].lives["gfr"]
    assert rates[0] == pytest.approx(55.0 * 0.95)
    assert rates[1] == pytest.approx(40.0 * 0.9)
    # 0.9 (60 - 2 t) = 15 at t = 30 - 15/1.8 = 21.67 years.
    assert mean_of(course, "kidney-failure", 2) == 0.0
    assert mean_of(course, "kidney-failure", 3) == 1.0


def test_a_lost_kidney_takes_its_share_and_the_other_makes_up_for_some() -> None:
    """40 and 60 %, a fifth more by the one left: 72 or 48 % remain; both lost: nothing."""
    start = person(
        steady_table(1e-9), gfr=certain("gfr", 100.0), gfr_per_year=certain("slope", 0.0)
    )
    lost = late("lost", 0.05, per_unit=True)
    steady = GfrChange(certain("change", 0.0), 1.0)
    course = lived_by(start, option(lost_unit=lost, gfr_change=steady), years=(10.0,))
    seen = course.tallies["a"].lives["gfr"][0]
    assert set(np.round(seen, 6)) == {0.0, 48.0, 72.0, 100.0}
    gone = 1 - np.exp(-0.5)
    assert np.mean(seen == 0.0) == pytest.approx(gone**2, abs=0.03)


def test_no_rate_strikes_nobody_and_what_is_not_known_is_not_there() -> None:
    course = lived_by(person(), option(late=(late("x", 0.0), late("y", 0.0, again=True))))
    figures = course.tallies["a"].figures
    assert mean_of(course, "event:x", 3) == mean_of(course, "event:y", 3) == 0.0
    for unknown in ("operations", "nights", "tube-days", "bag-days", "lost-unit", "kidney-failure"):
        assert unknown not in figures


def test_a_greater_hazard_never_spares_a_life() -> None:
    """Common chance: whoever is struck at the lower rate is struck at the higher."""
    pair = [
        option(key, late=(late("x", rate), late("y", rate, again=True)))
        for key, rate in (("low", 0.05), ("high", 0.08))
    ]
    course = lived_by(person(age=60.0), *pair)
    for figure in ("event:x", "event:y"):
        low, high = (course.tallies[key].figures[figure].means for key in ("low", "high"))
        assert np.all(high >= low)
        assert high.mean() > low.mean()
    assert np.array_equal(
        course.tallies["low"].figures["survival"].means,
        course.tallies["high"].figures["survival"].means,
    )


def test_one_seed_one_answer_on_any_number_of_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    start = person(age=70.0)
    what = option(late=(late("x", 0.2, again=True),), lost_unit=late("l", 0.02, per_unit=True))
    once = lived_by(start, what, lives=20_000)
    monkeypatch.setattr("os.sched_getaffinity", lambda _: {0})
    again = lived_by(start, what, lives=20_000)
    other = lived_by(start, what, lives=20_000, seed=7)
    for figure, found in once.tallies["a"].figures.items():
        assert np.array_equal(found.means, again.tallies["a"].figures[figure].means)
    moved = mean_of(other, "event:x", 2) - mean_of(once, "event:x", 2)
    assert moved != 0.0
    assert abs(moved) < ERRORS * np.sqrt(2) * error_of(once, "event:x", 2)


def test_what_another_option_draws_moves_nothing() -> None:
    mine = option(late=(late("x", 0.2),))
    other = option("b", late=(late("z", 0.4, again=True), late("x", 0.9)))
    alone = lived_by(person(age=70.0), mine, lives=20_000)
    beside = lived_by(person(age=70.0), other, mine, lives=20_000)
    for figure, found in alone.tallies["a"].figures.items():
        assert np.array_equal(found.means, beside.tallies["a"].figures[figure].means)


def test_doubt_of_a_rate_shows_in_the_worlds_and_not_chance() -> None:
    course = lived_by(
        person(steady_table(1e-9)),
        option(
            late=(
                late("sure", 0.1),
                LateEvent("doubted", "doubted", spread("doubted", 0.1, 1.5)),
            )
        ),
    )
    sure, doubted = (
        estimated(course.tallies["a"].figures[f"event:{key}"], 1) for key in ("sure", "doubted")
    )
    assert sure.interval[1] - sure.interval[0] < 0.02
    low, high = (1 - np.exp(-0.5 * 1.5 ** (side * 1.96)) for side in (-1, 1))
    assert doubted.interval == pytest.approx((low, high), abs=0.03)


@pytest.mark.parametrize(
    ("how", "message"),
    [
        ({"years": (0.0,)}, "between 0 and 100 years"),
        ({"years": ()}, "between 0 and 100 years"),
        ({"lives": 10}, "10 lives cannot be simulated"),
        ({"lives": 10**9}, "lives cannot be simulated"),
        ({"seed": -1}, "negative"),
    ],
)
def test_settings_that_cannot_be_are_refused(how: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        lived_by(person(), option(), **how)


def test_memory_does_not_grow_with_lives() -> None:
    """Blocks: ten times the lives must not take ten times the memory."""
    import tracemalloc

    def peak(lives: int) -> int:
        tracemalloc.start()
        lived_by(person(age=60.0), option(late=(late("x", 0.1, again=True),)), lives=lives)
        size = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return size

    assert peak(400_000) < 2 * peak(40_000)
