"""Laws of the window rule, on random series."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from alerts.rules import GRAPE_PHYLLOXERA, WindowRule
from alerts.variants import Numbers, vary
from alerts.windows import Kind, Span, find_spans, find_spans_by_rule
from probes.units import f_to_c
from tests.laws import law
from tests.plain_rule import plain_spans
from tests.windows_by_hand import FIVE_OF_FIVE, WARM_SUMMER, engine_spans, on, soil

LIMITS_F = [60.0, 61.0, 64.0, 72.0, 85.0, 86.0]
WITHOUT_MARGIN = replace(FIVE_OF_FIVE, margin_c=0.0)
IN_FAHRENHEIT = replace(
    GRAPE_PHYLLOXERA,  # its numbers as its text states them
    spring_opens_c=64.0,
    unseen_max_c=72.0,
    hot_above_c=86.0,
    cold_below_c=60.0,
    fall_drop_c=3.6,
    margin_c=1.0,
    tolerance_c=1e-6,
)


@dataclass(frozen=True)
class Series:
    """Daily root-zone values [degF], None where the day is missing, and what else a rule takes."""

    first_day: date
    values_f: list[float | None]
    south: bool
    as_of: date

    @property
    def values_c(self) -> list[float | None]:
        """The values in °C, by the conversion that readings go through."""
        return [None if value is None else f_to_c(value) for value in self.values_f]


def random_series(seed: int) -> Series:
    """Return one to three seasons of a yearly wave, a walk and plateaus on the limits, with gaps.

    Tenths of °F leave each mean either on a limit or well off it.
    """
    random = np.random.default_rng(seed)
    south = bool(random.integers(2))
    first_day = date(2014, 1, 1) + timedelta(days=int(random.integers(900)))
    n_days = int(random.integers(1, 1100))
    day_of_year = (np.arange(n_days) + first_day.timetuple().tm_yday) % 365.25
    coldest = 202 if south else 20
    wave = -np.cos(2 * np.pi * (day_of_year - coldest) / 365.25)
    walk = np.cumsum(random.normal(0, random.choice([0.2, 1.0, 2.0]), n_days))
    values = random.uniform(50, 78) + random.uniform(0, 25) * wave + 10 * np.tanh(walk / 10)
    for start in random.integers(n_days, size=random.integers(8)):
        values[start : start + random.integers(1, 15)] = random.choice(LIMITS_F)
    for start in random.integers(n_days, size=random.choice([0, 5, 60])):
        values[start : start + random.choice([1, 1, 1, 2, 4, 40])] = np.nan
    return Series(
        first_day,
        [None if np.isnan(value) else float(value) for value in np.round(values, 1)],
        south,
        first_day + timedelta(days=int(random.integers(-5, n_days + 60))),
    )


seeds = st.integers(0, 2**32 - 1)
series_drawn = seeds.map(random_series)
shares = st.sampled_from([0.01, 0.1, 0.5])


def test_the_random_series_meet_every_way_a_window_closes() -> None:
    spans = [
        span
        for series in map(random_series, range(200))
        for span in plain_spans(
            series.values_c, series.first_day, series.south, GRAPE_PHYLLOXERA, series.as_of
        )
    ]
    assert {(span.kind, span.reason) for span in spans} == {
        ("spring", "spent"),
        ("spring", "turned"),
        ("spring", "cold"),
        ("spring", "hot"),
        ("spring", "season over"),
        ("spring", None),
        ("fall", "cold"),
        ("fall", "hot"),
        ("fall", "season over"),
        ("fall", None),
    }


@law(120)
@given(series_drawn)
def test_engine_and_plain_rule_agree(series: Series) -> None:
    arguments = (series.values_c, series.first_day, series.south, GRAPE_PHYLLOXERA, series.as_of)
    assert engine_spans(*arguments) == plain_spans(*arguments)


@law(60)
@given(series_drawn)
def test_degrees_celsius_give_the_days_of_a_rule_kept_in_fahrenheit(series: Series) -> None:
    place = (series.first_day, series.south)
    assert engine_spans(series.values_c, *place, GRAPE_PHYLLOXERA, series.as_of) == plain_spans(
        series.values_f, *place, IN_FAHRENHEIT, series.as_of
    )


@law(60)
@given(series_drawn)
def test_days_after_as_of_change_nothing(series: Series) -> None:
    known = max(0, (series.as_of - series.first_day).days + 1)
    rest = (series.first_day, series.south, GRAPE_PHYLLOXERA, series.as_of)
    assert engine_spans(series.values_c, *rest) == engine_spans(series.values_c[:known], *rest)


@law(60)
@given(series_drawn, st.integers(1, 400))
def test_evaluating_day_by_day_tells_what_one_go_tells(series: Series, days_later: int) -> None:
    rest = (series.values_c, series.first_day, series.south, GRAPE_PHYLLOXERA)
    later = engine_spans(*rest, series.as_of + timedelta(days=days_later))
    assert engine_spans(*rest, series.as_of) == [
        replace(span, closed_on=None, reason=None, closed_not_before=None)
        if span.closed_on and span.closed_on > series.as_of
        else span
        for span in later
        if span.opened_on <= series.as_of
    ]


@law(30)
@given(st.lists(series_drawn, min_size=2, max_size=6))
def test_a_matrix_gives_what_each_series_gives_alone(many: list[Series]) -> None:
    matrix, days, south = together(many)
    as_of = many[0].as_of
    assert find_spans(matrix, days, south, GRAPE_PHYLLOXERA, as_of) == [
        engine_spans(s.values_c, s.first_day, s.south, GRAPE_PHYLLOXERA, as_of) for s in many
    ]


@law(20)
@given(st.lists(series_drawn, min_size=1, max_size=4))
def test_rules_that_walk_together_give_what_each_gives_alone(many: list[Series]) -> None:
    matrix, days, south = together(many)
    numbers = Numbers([f_to_c(60.0), f_to_c(64.0)], [0.0, 1.5], [3, 5])
    rules = [*vary(GRAPE_PHYLLOXERA, numbers), replace(GRAPE_PHYLLOXERA, cold_below_c=14.0)]
    assert find_spans_by_rule(matrix, days, south, rules, many[0].as_of) == [
        find_spans(matrix, days, south, rule, many[0].as_of) for rule in rules
    ]


def together(
    many: list[Series],
) -> tuple[NDArray[np.float64], NDArray[np.datetime64], NDArray[np.bool_]]:
    """Return series over the days of all [degC], those days, and which lie south."""
    first_day = min(series.first_day for series in many)
    offsets = [(series.first_day - first_day).days for series in many]
    n_days = max(o + len(series.values_f) for o, series in zip(offsets, many, strict=True))
    matrix = np.full((len(many), n_days), np.nan)
    for row, offset, series in zip(matrix, offsets, many, strict=True):
        row[offset : offset + len(series.values_f)] = np.array(series.values_c, dtype=np.float64)
    days = np.datetime64(first_day, "D") + np.arange(n_days)
    return matrix, days, np.array([series.south for series in many])


@law(60)
@given(series_drawn, seeds, shares)
def test_with_five_of_five_taking_readings_away_never_opens_spring_earlier(
    series: Series, seed: int, share: float
) -> None:
    full, thinned = full_and_thinned(series, seed, share, FIVE_OF_FIVE)
    # where the full series has a fall and no spring, a spring may stand in that fall's place
    assert opened_earlier(first_openings(thinned, "spring"), first_openings(full)) == {}


@law(60)
@given(series_drawn, seeds, shares)
def test_with_five_of_five_and_no_margin_taking_readings_away_never_opens_fall_earlier(
    series: Series, seed: int, share: float
) -> None:
    full, thinned = full_and_thinned(series, seed, share, WITHOUT_MARGIN)
    assert opened_earlier(first_openings(thinned, "fall"), first_openings(full, "fall")) == {}


def test_taking_away_a_fall_start_below_60_opens_fall_earlier() -> None:
    """The margin such a start brings is the one exception to the law on readings taken away."""
    steps = WARM_SUMMER | {"2015-08-10": None, "2015-10-01": 59, "2015-10-06": 61.25}
    first_day, full_c = soil(steps, "2015-10-31")
    thinned_c = list(full_c)
    thinned_c[(on("2015-10-03") - first_day).days] = None
    rest = (first_day, False, FIVE_OF_FIVE, on("2015-10-31"))
    # by hand: R on 5-10 October 59, 59.45, 59.9, 60.35, 60.8, 61.25; without the 3rd the first
    # R is that of the 8th, so fall starts at 60.35 and knows no margin
    assert [engine_spans(values_c, *rest)[-1].opened_on for values_c in (full_c, thinned_c)] == [
        on("2015-10-10"),
        on("2015-10-08"),
    ]


def full_and_thinned(
    series: Series, seed: int, share: float, rule: WindowRule
) -> tuple[list[Span], list[Span]]:
    """Return the spans of a series and of the same with a share of its days taken away."""
    rest = (series.first_day, series.south, rule, series.as_of)
    taken = np.random.default_rng(seed).random(len(series.values_c)) < share
    thinned_c = [
        None if away else value for away, value in zip(taken, series.values_c, strict=True)
    ]
    return engine_spans(series.values_c, *rest), engine_spans(thinned_c, *rest)


def first_openings(spans: list[Span], kind: Kind | None = None) -> dict[int, date]:
    """Return the first opening of each season, of one kind or of any."""
    latest_first = sorted(spans, key=lambda span: span.opened_on, reverse=True)
    return {span.season: span.opened_on for span in latest_first if kind in (None, span.kind)}


def opened_earlier(thinned: dict[int, date], full: dict[int, date]) -> dict[int, date]:
    """Return the seasons that the thinned series opened earlier than the full one, or alone."""
    return {year: day for year, day in thinned.items() if day < full.get(year, date.max)}
