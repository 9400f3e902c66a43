"""Air that corrects coming root-zone days: as any normal reading would, and no further."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from alerts.outlook.air import (
    Air,
    Response,
    find_errors_c2,
    fit_response,
    heed_air,
    usual_response,
)
from tests.generated_root_zone import generated_air, generated_days

DAYS = np.arange(np.datetime64("2026-05-01"), np.datetime64("2026-05-13"))
MEAN_C = 16 + 0.1 * np.arange(12.0)
COV_C2 = 2 * np.exp(-np.abs(np.subtract.outer(np.arange(12), np.arange(12))) / 9)
SURE = Response(np.array([-1.0, 0.0, 0.0, 2.0, 1.5]), np.zeros((5, 5)), 0.5)
BEFORE_C = 15.9


def air_of(days: np.ndarray, warmer_c: float, response: Response = SURE) -> Air:
    """Return air that stands so much above what the expected root zone makes likely."""
    likely_c = np.interp((days - DAYS[0]).astype(float), np.arange(12), MEAN_C) - 1 + 0.35
    errors_c2 = find_errors_c2(days, np.arange(1, days.size + 1))
    return Air(days, likely_c + warmer_c, errors_c2, response)


def test_air_as_expected_leaves_the_mean_and_narrows_the_days() -> None:
    mean_c, cov_c2 = heed_air(air_of(DAYS[:7], 0.0), DAYS, BEFORE_C, MEAN_C, COV_C2)
    assert mean_c == pytest.approx(MEAN_C, abs=1e-9)
    assert (np.diag(cov_c2) < np.diag(COV_C2)).all()
    assert np.linalg.eigvalsh(cov_c2).min() > 0


def test_it_is_a_normal_reading_of_the_days_around() -> None:
    air = air_of(DAYS[:7], 2.0)
    mean_c, cov_c2 = heed_air(air, DAYS, BEFORE_C, MEAN_C, COV_C2)
    # by hand: air = root zone - 1 + 2 x change before + 1.5 x change after, day by day
    view, offset_c = np.zeros((7, 12)), np.full(7, -1.0)
    for day in range(7):
        view[day, day] += 1 + 2 - 1.5
        view[day, day + 1] += 1.5
        if day:
            view[day, day - 1] -= 2
        else:
            offset_c[day] -= 2 * BEFORE_C
    apart = np.abs(np.subtract.outer(np.arange(7), np.arange(7)))
    noise_c2 = 0.25 * (0.75 * np.exp(-apart / 1.8) + 0.25 * np.exp(-apart / 14)) + air.error_c2
    # source: [DURBIN-2012], from memory: precisions of independent normal knowledge add up
    precision = np.linalg.inv(COV_C2) + view.T @ np.linalg.solve(noise_c2, view)
    pull = np.linalg.solve(COV_C2, MEAN_C)
    pull += view.T @ np.linalg.solve(noise_c2, air.air_c - offset_c)
    assert cov_c2 == pytest.approx(np.linalg.inv(precision), abs=1e-8)
    assert mean_c == pytest.approx(np.linalg.solve(precision, pull), abs=1e-8)


def test_warmer_air_warms_the_days_and_less_so_where_the_response_is_unsure() -> None:
    known_c, _ = heed_air(air_of(DAYS[:7], 4.0), DAYS, BEFORE_C, MEAN_C, COV_C2)
    usual = air_of(DAYS[:7], 4.0, replace(usual_response(), mean=SURE.mean))
    unsure_c, _ = heed_air(usual, DAYS, BEFORE_C, MEAN_C, COV_C2)
    assert (unsure_c > MEAN_C).all()
    assert (unsure_c < known_c).all()


def test_days_that_are_not_to_come_count_for_nothing() -> None:
    late = air_of(DAYS[-1:] + np.arange(3), 5.0)
    mean_c, cov_c2 = heed_air(late, DAYS, BEFORE_C, MEAN_C, COV_C2)
    assert mean_c is MEAN_C
    assert cov_c2 is COV_C2
    first = air_of(DAYS[:1], 5.0)
    assert heed_air(first, DAYS, np.nan, MEAN_C, COV_C2)[0] is MEAN_C  # no day before it


def test_errors_grow_with_the_lead_and_go_together() -> None:
    errors_c2 = find_errors_c2(DAYS[:9], np.arange(1, 10))
    sd_c = np.sqrt(np.diag(errors_c2))
    # [FORECAST-ERRORS]: 68 % of maxima within 3 degF the next day; one sd of a normal holds 68 %
    assert sd_c[0] == pytest.approx(3 / 1.8, abs=0.05)
    assert (np.diff(sd_c)[:6] > 0).all()
    assert sd_c[8] == sd_c[6]
    assert errors_c2[1, 2] == pytest.approx(0.7 * sd_c[1] * sd_c[2])


MAXIMA_ARE_OFF_C = [1.3, 1.9, 2.0, 2.2, 2.5, 2.6, 2.9]  # source: [FORECAST-WEEK], 1 to 7 days ahead


def test_a_mean_of_a_day_is_forecast_nearly_as_badly_as_its_highest() -> None:
    errors_c2 = find_errors_c2(DAYS[:7], np.arange(1, 8))
    # by hand: a normal error has sqrt(pi / 2) times its mean absolute size as its deviation
    of_maxima_c = np.sqrt(np.pi / 2) * np.array(MAXIMA_ARE_OFF_C)
    share = np.sqrt(np.diag(errors_c2)) / of_maxima_c
    assert ((share > 0.7) & (share < 1.1)).all()
    assert errors_c2[0, 0] ** 0.5 < 3.80 / 1.8  # degC; source: [FORECAST-TODAY], 12 to 24 h ahead


def test_a_fit_finds_the_response_that_made_the_air() -> None:
    days, root_zone_c = generated_days(seed=1, years=4)
    made = np.array([-2.0, 1.0, -0.5, 4.0, 3.0])
    change_c = np.diff(root_zone_c)
    year = 2 * np.pi * days.astype(float) / 365.2425
    waves_c = made[1] * np.cos(year) + made[2] * np.sin(year)
    air_c = np.full(days.size, np.nan)
    slopes_c = made[3] * change_c[:-1] + made[4] * change_c[1:]
    noise_c = np.random.default_rng(1).normal(0, 0.4, days.size - 2)
    air_c[1:-1] = root_zone_c[1:-1] + made[0] + waves_c[1:-1] + slopes_c + noise_c
    found = fit_response(root_zone_c, air_c, days)
    assert found.mean == pytest.approx(made, abs=0.2)
    assert found.noise_c == pytest.approx(0.4, abs=0.1)


def test_without_air_the_usual_holds_and_a_week_of_it_moves_it_little() -> None:
    days, root_zone_c = generated_days(seed=1, years=4)
    air_c = np.full(days.size, np.nan)
    usual, none = usual_response(), fit_response(root_zone_c, air_c, days)
    assert none.mean == pytest.approx(usual.mean)
    assert none.noise_c == pytest.approx(usual.noise_c)
    air_c[500:507] = generated_air(seed=1, years=4)[500:507] + 6
    week = fit_response(root_zone_c, air_c, days)
    assert 0 < week.mean[0] - usual.mean[0] < 3
    assert np.linalg.eigvalsh(usual.cov - week.cov).min() > -1e-9
