"""What became of each season, worked out by hand, and by the spans of the engine."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from alerts.rules import GRAPE_PHYLLOXERA, Kind
from alerts.study.seasons import KINDS, OUTCOMES, Seasons, find_seasons
from alerts.windows import Span, find_spans
from probes.units import f_to_c
from tests.windows_by_hand import on, soil

WARM = {"2015-01-01": 50, "2015-04-01": 70, "2015-09-20": 62, "2015-11-01": 50}


def seasons(
    steps: Mapping[str, float], last: str, gap: tuple[str, str] | None = None, as_of: str = ""
) -> Seasons:
    """Return what became of the seasons of a soil [°F], some of its days missing."""
    first_day, values_c = soil(dict(steps), last)
    series_c = np.array([values_c], np.float64)
    days = np.datetime64(first_day) + np.arange(series_c.shape[1])
    if gap:
        series_c[:, (days >= np.datetime64(gap[0])) & (days <= np.datetime64(gap[1]))] = np.nan
    until = on(as_of) if as_of else on(last)
    (found,) = find_seasons(series_c, None, days, np.array([False]), [GRAPE_PHYLLOXERA], until)
    return found


def place_of(found: Seasons, kind: Kind) -> tuple[int, int, int]:
    """Return where the season of 2015 of the first series stands."""
    return 0, 2015 - int(found.season[0]), KINDS.index(kind)


def of(found: Seasons, kind: Kind) -> tuple[str, date | None, date]:
    """Return outcome, opening, and the last day on which it had not opened."""
    place = place_of(found, kind)
    return OUTCOMES[found.outcome[place]], found.opened_on[place].item(), found.after[place].item()


def test_a_year_seen_in_full_opens_twice() -> None:
    found = seasons(WARM, "2015-12-31")
    # by hand: R on 1-4 April 54, 58, 62, 66, at least 64 on the 4th; on 20-22 September 68.4, 66.8,
    # 65.2, 3.6 below 70 on the 22nd
    assert of(found, "spring") == ("opened", on("2015-04-04"), on("2015-04-03"))
    assert of(found, "fall") == ("opened", on("2015-09-22"), on("2015-09-21"))
    place = place_of(found, "spring")
    # 1 February to 4 April; open for 42 days
    assert (found.asked_d[place], found.seen_d[place], found.open_d[place]) == (63, 63, 42)
    assert found.closed_on[place] == np.datetime64("2015-05-16")


def test_an_opening_that_a_gap_hides_is_known_between_two_days() -> None:
    found = seasons(WARM, "2015-12-31", ("2015-03-30", "2015-04-12"))
    # by hand: R needs four of five days: there from 16 April on; last there on 29 March
    assert of(found, "spring") == ("opened", on("2015-04-16"), on("2015-03-29"))
    place = place_of(found, "spring")
    assert (found.asked_d[place], found.seen_d[place]) == (75, 58)


def test_a_cool_year_is_not_reached_only_where_all_of_it_was_seen() -> None:
    cool = {"2015-01-01": 50, "2015-04-01": 60}
    assert of(seasons(cool, "2015-12-31"), "spring") == ("not reached", None, on("2015-12-31"))
    assert of(seasons(cool, "2015-06-30"), "spring") == ("not yet", None, on("2015-06-30"))
    gone = ("2015-05-01", "2015-05-31")
    assert of(seasons(cool, "2015-12-31", gone), "spring") == ("not seen", None, on("2015-04-30"))
    late = seasons(cool, "2015-06-30", as_of="2015-12-31")
    assert of(late, "spring") == ("not seen", None, on("2015-06-30"))


def test_a_season_without_readings_says_nothing() -> None:
    found = seasons(WARM, "2015-12-31", ("2015-02-01", "2015-12-31"))
    assert of(found, "spring") == ("no readings", None, on("2015-01-31"))
    assert of(found, "fall") == ("no readings", None, on("2015-08-14"))


def test_a_window_that_pauses_counts_from_its_first_day_to_its_last() -> None:
    days = np.arange(np.datetime64("2014-01-01"), np.datetime64("2018-01-01"))
    drift_c = np.cumsum(np.random.default_rng(5).normal(0, 0.8, (40, days.size)), axis=1) % 6
    series_c = 12 - 9 * np.cos(2 * np.pi * np.arange(days.size) / 365.25) + drift_c
    rest = days, np.zeros(40, bool)
    rules = [GRAPE_PHYLLOXERA, replace(GRAPE_PHYLLOXERA, spring_opens_c=16.5)]
    both = list(find_seasons(series_c, None, *rest, rules, on("2017-12-31")))
    assert max(found.stretches.max() for found in both) > 2
    assert [_tell(found) for found in both] == [
        _gather(find_spans(series_c, *rest, rule, on("2017-12-31"))) for rule in rules
    ]


Told = dict[tuple[int, int, int], tuple[object, object, int, int]]
"""By series, season and kind: first day, first day after the last, stretches and days open."""


def _tell(found: Seasons) -> Told:
    places = zip(*np.nonzero(found.stretches), strict=True)
    return {
        (int(place[0]), int(found.season[place[1]]), int(place[2])): (
            found.opened_on[place].item(),
            found.closed_on[place].item(),
            int(found.stretches[place]),
            int(found.open_d[place]),
        )
        for place in places
    }


def _gather(spans: list[list[Span]]) -> Told:
    """Work out the same, span by span."""
    windows: defaultdict[tuple[int, int, int], list[Span]] = defaultdict(list)
    for series, of_series in enumerate(spans):
        for span in of_series:
            windows[series, span.season, KINDS.index(span.kind)].append(span)
    end = on("2018-01-01")
    return {
        place: (
            of[0].opened_on,
            of[-1].closed_on,
            len(of),
            sum(((one.closed_on or end) - one.opened_on).days for one in of),
        )
        for place, of in windows.items()
    }


def test_seasons_south_begin_in_july() -> None:
    days = np.arange(np.datetime64("2015-07-01"), np.datetime64("2016-07-01"))
    series_c = np.where(days < np.datetime64("2015-10-01"), f_to_c(50.0), f_to_c(70.0))[None, :]
    both = np.concatenate([series_c, series_c])
    south = np.array([True, False])
    (found,) = find_seasons(both, None, days, south, [GRAPE_PHYLLOXERA], on("2016-06-30"))
    assert found.season.tolist() == [2015, 2016]
    # by hand: as above, three days of 70 among five and one of 50 more make 62, the fourth 66
    assert found.opened_on[0, 0, 0] == np.datetime64("2015-10-04")
    assert found.outcome[0, 1].tolist() == [OUTCOMES.index("no readings")] * 2


@pytest.mark.parametrize("error_c", [0.2, 1.0])
def test_bounds_hold_the_opening(error_c: float) -> None:
    first_day, values_c = soil(
        {"2015-01-01": 50, "2015-04-01": 62.5, "2015-04-21": 64.5}, "2015-06-30"
    )
    series_c = np.array([values_c], np.float64)
    days = np.datetime64(first_day) + np.arange(series_c.shape[1])
    errors_c = np.full(series_c.shape, error_c)
    (found,) = find_seasons(
        series_c, errors_c, days, np.array([False]), [GRAPE_PHYLLOXERA], on("2015-06-30")
    )
    place = place_of(found, "spring")
    assert found.earliest[place] <= found.opened_on[place]
    # by hand: 64.5 less 1.28 standard errors of 1 °C is never 64
    assert np.isnat(found.latest[place]) == (error_c == 1.0)
