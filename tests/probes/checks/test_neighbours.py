"""The daily wave of a probe, by itself and beside other depths."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from probes.checks import ProbeSeries, check_logger, explain, unpack
from tests.soil_series import wave

DAMPING_CM = 12.0
LAG_H_PER_CM = 24 / (2 * np.pi) / DAMPING_CM


def soil(depths_cm=(10.0, 20.0, 35.0), days: int = 8, surface_c: float = 30.0):
    """Return the pure daily wave at depths of one soil [HILLEL-1982]."""
    return [
        wave(
            days,
            surface_c * exp(-z / DAMPING_CM),
            peak_h=13 + z * LAG_H_PER_CM,
            depth_cm=z,
        )
        for z in depths_cm
    ]


def results(probes, test: str) -> list[int]:
    """Return what a test says of the last reading of each probe."""
    return [int(unpack(code[-1])[test]) for code in check_logger(probes)]


def laid_at(series: ProbeSeries, depth_cm: float) -> ProbeSeries:
    """Return the readings of a probe as if it lay at another depth."""
    return ProbeSeries(series.observed_at, series.soil_temp_c, depth_cm)


def test_depths_of_one_soil_agree() -> None:
    assert (results(soil(), "neighbours"), results(soil(), "daily_range")) == ([1, 1, 1], [1, 1, 1])


def test_nothing_is_known_before_four_days_are_covered() -> None:
    code = check_logger(soil())[0]
    known = unpack(code)["neighbours"] != 2
    assert np.flatnonzero(known)[0] + 1 == 4 * 24


def test_a_single_depth_has_no_neighbours() -> None:
    assert results(soil()[:1], "neighbours") == [2]


def test_a_swapped_pair_shows_on_both_and_on_no_other() -> None:
    ten, twenty, deep = soil()
    swapped = [laid_at(twenty, 10.0), laid_at(ten, 20.0), deep]
    assert results(swapped, "neighbours") == [3, 3, 1]


def test_a_probe_out_of_the_ground_shows_alone() -> None:
    ten, twenty, deep = soil()
    out = wave(8, 20.0, peak_h=14, depth_cm=35)
    assert (results([ten, twenty, out], "neighbours"), results([out], "daily_range")) == (
        [1, 1, 3],
        [3],
    )
    assert results([ten, twenty, deep], "daily_range") == [1, 1, 1]


def test_a_deeper_wave_that_leads_is_suspect() -> None:
    ten, twenty, _ = soil()
    early = wave(8, 4.0, peak_h=13, depth_cm=20)
    # by hand: the peak at 10 cm is at 13 + 3.2 h, the other leads by 3.2 h
    told = explain("neighbours", [ten, early], 1, 150)
    assert (results([ten, early], "neighbours"), told) == (
        [3, 3],
        "20 cm peaks 3.2 h before 10 cm",
    )
    assert results([ten, twenty], "neighbours") == [1, 1]


def test_a_wave_that_lags_more_than_half_a_day_does_not_lead() -> None:
    # by hand: 40 cm x 24 h / (2 pi 12 cm) = 12.7 h, which looks like 11.3 h before
    assert results(soil((5.0, 45.0), surface_c=60.0), "neighbours") == [1, 1]


def test_a_probe_whose_mean_is_off_shows_alone() -> None:
    ten, twenty, deep = soil((10.0, 20.0, 30.0))
    drifted = ProbeSeries(twenty.observed_at, twenty.soil_temp_c + 6.0, 20.0)
    assert results([ten, drifted, deep], "neighbours") == [1, 3, 1]


def test_a_trend_is_no_daily_wave() -> None:
    # by hand: 2 degC a day at both depths; a wave of a day's trend would be 0.6 degC
    rising = [
        ProbeSeries(one.observed_at, 10 + np.arange(192) / 12, one.depth_cm)
        for one in soil((10.0, 50.0))
    ]
    assert results(rising, "daily_range") == [1, 1]


@pytest.mark.parametrize(("range_c", "result"), [(0.9, 1), (1.2, 3)])
def test_at_50_cm_more_than_1_degree_over_a_day_is_suspect(range_c: float, result: int) -> None:
    # source: amplitude 15 exp(-0.5/0.117) = 0.21 degC at 0.5 m [HILLEL-1982]; 45 exp(-50/12) + 0.3
    # = 1.0 degC
    assert results([wave(8, range_c, depth_cm=50)], "daily_range") == [result]


def test_a_gap_beside_it_leaves_a_pair_not_evaluated() -> None:
    ten, twenty, _ = soil()
    gap = np.ones(192, np.bool_)
    gap[180:187] = False
    assert results([ten, twenty.where(gap)], "neighbours") == [2, 2]


def test_probes_at_the_same_depth_are_not_compared() -> None:
    ten, twenty, _ = soil()
    assert results([ten, laid_at(twenty, 10.0)], "neighbours") == [2, 2]


def test_the_reason_names_the_other_depth() -> None:
    ten, twenty, _ = soil()
    # by hand: 30 exp(-10/12) = 13.0 degC, 30 exp(-20/12) = 5.7 degC
    told = explain("neighbours", [laid_at(twenty, 10.0), laid_at(ten, 20.0)], 0, 150)
    assert told.startswith("20 cm swings by 13.0 °C over a day and 10 cm by 5.7 °C")
