"""Rule sets other than the built-in one: every number, in both readings of the rule."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from operator import eq

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from alerts.rules import FACTS, GRAPE_PHYLLOXERA, ORIGINS, RULES, WindowRule, find_faults
from alerts.states import find_state
from alerts.windows import Span, evaluate
from probes.units import c_to_f, delta_f_to_c, f_to_c
from tests.alerts.test_windows_laws import Series, random_series, seeds, series_drawn
from tests.laws import law
from tests.plain_rule import plain_spans
from tests.windows_by_hand import (
    WARM_SUMMER,
    Case,
    Evaluate,
    both_readings,
    by_hand,
    engine_spans,
    on,
    soil,
    span,
)

ONLY_SPRING = replace(GRAPE_PHYLLOXERA, windows=("spring",))
ONLY_FALL = replace(GRAPE_PHYLLOXERA, windows=("fall",))
COOLS = WARM_SUMMER | {"2015-09-01": 70, "2015-10-01": 50}
FALL = span("fall", "2015-09-04", "2015-10-03", "cold")  # by hand: 74 .. 71; 66, 62, 58
SPRING = span("spring", "2015-04-05", "2015-05-17", "spent")


def random_rule(seed: int) -> WindowRule:
    """Return a rule set of any numbers, in halves of °F, that may contradict itself."""
    random = np.random.default_rng(seed)

    def limit_c(low_f: int, high_f: int) -> float:
        return f_to_c(low_f + 0.5 * int(random.integers(2 * (high_f - low_f) + 1)))

    def step_c(high_f: int) -> float:
        return delta_f_to_c(0.5 * int(random.integers(2 * high_f + 1)))

    def day(first: int, last: int) -> tuple[int, int]:
        return int(random.integers(first, last + 1)), int(random.integers(1, 29))

    mean_days = int(random.integers(1, 11))
    return replace(
        GRAPE_PHYLLOXERA,
        windows=[("spring", "fall"), ("spring", "fall"), ("spring",), ("fall",)][
            random.integers(4)
        ],
        mean_days=mean_days,
        mean_needs=int(random.integers(1, mean_days + 1)),
        spring_opens_c=limit_c(56, 72),
        spring_from=day(1, 4),
        unseen_until=day(4, 9),
        unseen_max_c=limit_c(60, 80),
        hot_above_c=limit_c(70, 90),
        cold_below_c=limit_c(50, 64),
        spring_days=int(random.integers(1, 120)),
        fall_from=day(6, 11),
        fall_drop_c=step_c(10),
        margin_c=step_c(4),
        degree_days=[None, "information", "condition"][random.integers(3)],
        degree_days_lower_c=limit_c(40, 60),
        degree_days_upper_c=limit_c(60, 90),
        degree_days_since=day(1, 3),
        degree_days_sum_c=step_c(1000) + 0.1,  # so that no sum lies on it but for rounding
    )


rules_drawn = seeds.map(random_rule).filter(lambda rule: not find_faults(rule))


@law(150)
@given(series_drawn, rules_drawn)
def test_engine_and_plain_rule_agree_on_any_rule(series: Series, rule: WindowRule) -> None:
    arguments = (series.values_c, series.first_day, series.south, rule, series.as_of)
    assert engine_spans(*arguments) == plain_spans(*arguments)


@law(60)
@given(series_drawn, rules_drawn, seeds)
def test_engine_and_plain_rule_agree_on_degree_days_of_hours(
    series: Series, rule: WindowRule, seed: int
) -> None:
    random = np.random.default_rng(seed)
    warmth_c = random.uniform(0, 10, len(series.values_c))
    warmth_c[random.random(warmth_c.size) < 0.2] = np.nan
    days = np.datetime64(series.first_day) + np.arange(warmth_c.size)
    (one,) = evaluate(
        np.array([series.values_c], np.float64),
        days,
        np.array([series.south]),
        rule,
        series.as_of,
        warmth_c[np.newaxis],
    )
    assert one.spans == plain_spans(
        series.values_c,
        series.first_day,
        series.south,
        rule,
        series.as_of,
        [None if np.isnan(value) else value for value in warmth_c.tolist()],
    )


def test_every_number_of_random_rules_matters_to_some_series() -> None:
    changed = {
        name: value
        for name, value in asdict(replace(random_rule(3), windows=("fall",))).items()
        if name not in ("name", "tolerance_c") and not name.startswith("degree_days")
    }
    every = [random_series(seed) for seed in range(150)]

    def spans_by(rule: WindowRule) -> Iterator[list[Span]]:
        return (
            engine_spans(one.values_c, one.first_day, one.south, rule, one.as_of) for one in every
        )

    usual = list(spans_by(GRAPE_PHYLLOXERA))
    without_effect = [
        name
        for name, value in changed.items()
        if all(map(eq, usual, spans_by(replace(GRAPE_PHYLLOXERA, **{name: value}))))
    ]
    assert without_effect == []


@both_readings
@by_hand(
    Case("spring alone", COOLS, "2015-12-31", [SPRING], rule=ONLY_SPRING),
    Case("fall alone", COOLS, "2015-12-31", [FALL], rule=ONLY_FALL),
    Case(
        "where fall is not wanted, spring turns all the same",
        {"2015-01-01": 50, "2015-08-01": 70, "2015-08-20": 62},
        "2015-12-31",
        # by hand: R on 1-5 August 54 .. 70, 66 on the 4th; 68.4 on 20 August, 66.8, 65.2 <= 66.4
        [span("spring", "2015-08-04", "2015-08-22", "turned")],
        rule=ONLY_SPRING,
    ),
    Case(
        "a mean of one day follows the day",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-04-20",
        [span("spring", "2015-04-01")],
        rule=replace(GRAPE_PHYLLOXERA, mean_days=1, mean_needs=1),
    ),
    Case(
        "a lower limit opens earlier",
        {"2015-01-01": 50, "2015-04-01": 63},
        "2015-04-20",
        [span("spring", "2015-04-05")],  # by hand: R on 4-5 April 60.4, 63
        rule=replace(GRAPE_PHYLLOXERA, spring_opens_c=f_to_c(62.0)),
    ),
)
def test_a_rule_of_other_numbers_by_hand(case: Case, evaluate: Evaluate) -> None:
    assert case.found_by(evaluate) == case.spans


@pytest.mark.parametrize(
    ("rule", "as_of", "state"),
    [
        (ONLY_SPRING, "2015-06-30", "done for the season"),
        (ONLY_SPRING, "2015-09-20", "done for the season"),
        (ONLY_FALL, "2015-04-20", "resting"),
        (ONLY_FALL, "2015-09-20", "open"),
        (ONLY_FALL, "2015-11-01", "done for the season"),
        (GRAPE_PHYLLOXERA, "2015-06-30", "resting"),
    ],
)
def test_a_window_that_is_not_wanted_is_not_waited_for(
    rule: WindowRule, as_of: str, state: str
) -> None:
    first_day, values_c = soil(COOLS, "2015-12-31")
    days = np.datetime64(first_day) + np.arange(len(values_c))
    (one,) = evaluate(np.array([values_c]), days, np.array([False]), rule, on(as_of))
    assert find_state(one, rule, False, True, on(as_of)) == state


WAITS = replace(
    GRAPE_PHYLLOXERA,
    degree_days="condition",
    degree_days_lower_c=f_to_c(50.0),
    degree_days_upper_c=f_to_c(86.0),
    degree_days_sum_c=delta_f_to_c(320.0),
)


@both_readings
@by_hand(
    Case(
        "spring waits for the sum",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-04-30",
        # by hand: 16 °F d a day from 1 April, 320 on the 20th
        [span("spring", "2015-04-20")],
        rule=WAITS,
    ),
    Case(
        "a sum that is only told holds nothing up",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-04-30",
        [span("spring", "2015-04-05")],
        rule=replace(WAITS, degree_days="information"),
    ),
    Case(
        "a day without a value adds nothing",
        {"2015-01-01": 50, "2015-04-01": 66, "2015-04-10": None, "2015-04-12": 66},
        "2015-04-30",
        [span("spring", "2015-04-22")],
        rule=WAITS,
    ),
    Case(
        "above the upper threshold a day adds no more",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-05-10",
        [span("spring", "2015-05-02")],  # by hand: 10 °F d a day, 320 on the 32nd
        rule=replace(WAITS, degree_days_upper_c=f_to_c(60.0)),
    ),
    Case(
        "what the soil had before the day since which it is summed does not count",
        {"2015-01-01": 50, "2015-04-01": 66},
        "2015-05-10",
        [span("spring", "2015-04-30")],  # by hand: 20 days from 11 April on
        rule=replace(WAITS, degree_days_since=(4, 11)),
    ),
    Case(
        "each season has a sum of its own, and the south its own days",
        {"2015-07-01": 50, "2015-10-01": 66, "2016-07-01": 66},
        "2016-08-31",
        # by hand: 20 October; from 1 July 2016 on 320 on the 20th, and spring from 1 August
        [
            span("spring", "2015-10-20", "2015-12-01", "spent"),
            span("spring", "2016-08-01", season=2016),
        ],
        south=True,
        rule=WAITS,
    ),
)
def test_degree_days_by_hand(case: Case, evaluate: Evaluate) -> None:
    assert case.found_by(evaluate) == case.spans


def test_the_sum_so_far_is_told() -> None:
    first_day, values_c = soil({"2015-01-01": 50, "2015-04-01": 66}, "2015-04-10")
    days = np.datetime64(first_day) + np.arange(len(values_c))
    arguments = (np.array([values_c]), days, np.array([False]))
    (one,) = evaluate(*arguments, WAITS, on("2015-04-10"))
    (without,) = evaluate(*arguments, GRAPE_PHYLLOXERA, on("2015-04-10"))
    assert one.standing.degree_days_c == pytest.approx(delta_f_to_c(160.0))  # by hand: 10 x 16
    assert without.standing.degree_days_c is None


def test_three_temperatures_of_spring_stand_apart() -> None:
    # source: [UC-PHYLLOXERA] 60 °F; common practice, no source: 64 °F; [TURLEY-1996] 18 °C
    assert [round(c_to_f(fact.value_c), 9) for fact in FACTS] == [60.0, 64.0, 64.4]
    assert FACTS[2].value_c == 18.0
    assert "not used" in FACTS[2].origin
    assert 18.0 not in asdict(GRAPE_PHYLLOXERA).values()


def test_every_number_of_the_built_in_rule_has_an_origin() -> None:
    assert set(ORIGINS) == set(asdict(GRAPE_PHYLLOXERA)) - {"name", "tolerance_c"}
    assert [find_faults(rule) for rule in RULES.values()] == [[]]


@law(60)
@given(seeds, st.floats(0.1, 20))
def test_a_cold_limit_above_the_opening_one_is_always_a_fault(seed: int, more_c: float) -> None:
    rule = random_rule(seed)
    assume(rule.spring_opens_c + more_c < 60)
    cold = replace(rule, cold_below_c=rule.spring_opens_c + more_c)
    assert any(fault.startswith("cold_below") for fault in find_faults(cold))
