"""The fan of an outlook lies where the members lie, and begins where the readings end."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.courses import Lent, season_days
from alerts.outlook.curves import WAVES, Curves, follow
from alerts.outlook.fan import Fan, find_fans
from alerts.outlook.members import coming_days, draw_members
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import trailing_mean
from tests.outlook_curves import days_of, sure_curve

WEATHER = sure_curve(spread_c=1.2)
DAYS = days_of("2024-06-20", "2025-12-31")
AS_OF = date(2025, 4, 10)
AHEAD_DAYS = 45


def warm_days(last: str) -> np.ndarray:
    """Return days that lie a degree above the curve, up to `last`. [degC]"""
    day_c = yearly_terms(DAYS, WAVES) @ WEATHER.terms_c[0] + 1.0
    return np.where(np.datetime64(last) >= DAYS, day_c, np.nan)[np.newaxis]


def fan(
    day_c: np.ndarray, curve: Curves = WEATHER, as_of: date = AS_OF, lent: Lent | None = None
) -> Fan:
    until = as_of + timedelta(days=AHEAD_DAYS)
    (one,) = find_fans(day_c, DAYS, curve, False, GRAPE_PHYLLOXERA, as_of, until, lent)
    return one


def test_it_holds_eight_of_ten_members_and_their_middle() -> None:
    found = fan(warm_days("2025-04-10"))
    # by drawing: the members of the same days, and the mean of five that decides
    whole = season_days(2025, False, GRAPE_PHYLLOXERA)
    observed_c = warm_days("2025-04-10")[:, np.isin(DAYS, whole)]
    belief = follow(WEATHER, observed_c[:, 4:], whole[4:])
    start = 4 + int(belief.last[0]) + 1
    drawn_c = draw_members(*coming_days(belief, 0, whole[start:]), 4000, np.random.default_rng(7))
    course_c = np.hstack([np.tile(observed_c[:, :start], (4000, 1)), drawn_c])
    means_c = trailing_mean(course_c.T, GRAPE_PHYLLOXERA)[start : start + AHEAD_DAYS]
    low_c, middle_c, high_c = np.quantile(means_c, [0.1, 0.5, 0.9], axis=1)
    assert found.days.tolist() == whole[start : start + AHEAD_DAYS].tolist()
    assert found.low_c == pytest.approx(low_c, abs=0.12)  # [degC] of 4000 members
    assert found.middle_c == pytest.approx(middle_c, abs=0.12)
    assert found.high_c == pytest.approx(high_c, abs=0.12)


def test_it_is_narrow_at_first_and_widens() -> None:
    found = fan(warm_days("2025-04-10"))
    width_c = found.high_c - found.low_c
    assert width_c[0] < 0.3  # [degC]: four of its five days are known
    assert width_c[:10].tolist() == sorted(width_c[:10].tolist())


def test_it_begins_where_readings_end_and_goes_on_beyond_the_season() -> None:
    assert fan(warm_days("2025-03-30")).days[0] == np.datetime64("2025-03-31")
    in_december = fan(warm_days("2025-12-31"), as_of=date(2025, 12, 31))
    assert in_december.days[[0, -1]].tolist() == [date(2026, 1, 1), date(2026, 2, 14)]


def test_days_that_neighbours_lend_carry_their_error_through() -> None:
    own_c, all_c = warm_days("2025-03-30"), warm_days("2025-04-10")
    lent_c = np.where(np.isnan(own_c), all_c, np.nan)
    found = fan(own_c, lent=Lent(lent_c, np.array([0.5])))
    assert found.days[0] == np.datetime64("2025-03-31")
    # by hand: 9 April is a mean of five lent days, each off by the same 0.5 degC
    at = int(np.flatnonzero(found.days == np.datetime64("2025-04-09"))[0])
    five_c = all_c[0, np.isin(DAYS, days_of("2025-04-05", "2025-04-09"))]
    assert found.middle_c[at] == pytest.approx(five_c.mean())
    assert found.high_c[at] - found.middle_c[at] == pytest.approx(1.2816 * 0.5)
