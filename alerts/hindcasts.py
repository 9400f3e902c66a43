"""Outlooks of seasons past, as they would have been issued, beside what then came.

The season that is scored is left out of the fit; of its days an outlook sees those up to its day of
issue. Beside each stand two that take less to make: the site's climatology (the same yearly curve
and spread, and no word of the season but that nothing has opened yet) and persistence (the curve,
with the anomaly of the day of issue from then on).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.air import FORECAST_DAYS, Air, Response, find_errors_c2, fit_response
from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.courses import run_members, season_days
from alerts.outlook.curves import WAVES, Curves, fit_curves, has_own_curve
from alerts.outlook.dates import likely_days
from alerts.outlook.members import member_rng
from alerts.rules import WindowRule
from alerts.scores import crps_ensemble, up_to
from alerts.season import season_day, season_of, season_start
from alerts.windows import Kind, Span, find_spans, trailing_mean

BEFORE_D, AFTER_D = 60, 30
HOLE_D = 3
"""An opening is known to the day, or known not to have come, with no longer hole before it. [d]"""
MEMBERS = 200
_CLIMATE_MEMBERS = 2_000


@dataclass(frozen=True)
class Hindcasts:
    """One row an outlook; days count from the first of the season, "never" is the horizon.

    season : (n,) int64
    lead_d : (n,), from the day of issue to the observed one; negative after it [d]
    observed_d, p10_d, p50_d, p90_d : (n,) [d]
    crps_d, climatology_crps_d, persistence_crps_d : (n,) [d]
    chance_14 : (n,), that the window has opened 14 days on
    """

    season: NDArray[np.int64]
    lead_d: NDArray[np.float64]
    observed_d: NDArray[np.float64]
    p10_d: NDArray[np.float64]
    p50_d: NDArray[np.float64]
    p90_d: NDArray[np.float64]
    crps_d: NDArray[np.float64]
    climatology_crps_d: NDArray[np.float64]
    persistence_crps_d: NDArray[np.float64]
    chance_14: NDArray[np.float64]

    def where(self, which: NDArray[np.bool_]) -> Hindcasts:
        """Return some of the outlooks."""
        return Hindcasts(**{name: column[which] for name, column in vars(self).items()})


def pool(parts: Sequence[Hindcasts]) -> Hindcasts:
    """Return the outlooks of several seasons or blocks as one."""
    names = Hindcasts.__dataclass_fields__
    return Hindcasts(**{name: np.concatenate([vars(one)[name] for one in parts]) for name in names})


@dataclass(frozen=True)
class PastSeason:
    """When a window first opened in a season: days from its first; infinite for never [d].

    horizon_d : the last day that is scored: for spring the day from which fall may start
    """

    season: int
    opened_d: float
    horizon_d: float


def find_past_seasons(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: bool,
    rule: WindowRule,
    kind: Kind,
) -> list[PastSeason]:
    """Return the seasons that can be scored: whose first opening was seen, or seen not to come.

    Parameters
    ----------
    root_zone_c : array, shape (n_days,)
        Of one block; NaN where the day has no value. [degC]
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    """
    first_day, last_day = days[0].item(), days[-1].item()
    (spans,) = find_spans(root_zone_c[np.newaxis], days, np.array([south]), rule, last_day)
    has_mean = set(days[~np.isnan(trailing_mean(root_zone_c, rule))].tolist())
    found: list[PastSeason] = []
    for season in range(season_of(first_day, south), season_of(last_day, south) + 1):
        start, stop = season_start(season, south), season_start(season + 1, south)
        fall_from = season_day(rule.fall_from, season, south)
        spring_from = season_day(rule.spring_from, season, south)
        begin, horizon = (spring_from, fall_from) if kind == "spring" else (fall_from, stop)
        of_kind = (span for span in spans if (span.season, span.kind) == (season, kind))
        opened = next(of_kind, None)
        if opened:
            is_known = (opened.opened_on - opened.not_before).days <= HOLE_D
        else:
            is_known = _longest_hole(has_mean, begin, horizon) <= HOLE_D
        if is_known:
            opened_d = (opened.opened_on - start).days if opened else np.inf
            found.append(PastSeason(season, float(opened_d), float((horizon - start).days)))
    return found


def _longest_hole(known: set[date], begin: date, stop: date) -> int:
    """Return the most days in a row, before `stop`, that are not known."""
    longest = run = 0
    for ahead in range((stop - begin).days):
        run = 0 if begin + timedelta(days=ahead) in known else run + 1
        longest = max(longest, run)
    return longest


def hindcast(
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
    south: bool,
    rule: WindowRule,
    kind: Kind,
    block_id: str,
    members: int = MEMBERS,
    every_d: int = 1,
    air: PastAir | None = None,
) -> Iterator[Hindcasts]:
    """Yield, season by season, the outlooks of a block for the first opening of one window.

    Parameters
    ----------
    root_zone_c, days, south, rule, kind
        As for `find_past_seasons`.
    block_id : str
        Seeds the members.
    members : int
        Even.
    every_d : int
        From one outlook to the next, of all from 60 days before to 30 days after the opening, or
        around the median of the climatology where none came. [d]
    air : PastAir, optional
        What forecasts of the air would have said; how the root zone answers is fitted without the
        season as well.

    A season is left out where the others do not make a year.
    """
    season = np.array([season_of(day, south) for day in days.tolist()])
    for past in find_past_seasons(root_zone_c, days, south, rule, kind):
        others_c = np.where(season == past.season, np.nan, root_zone_c)
        if has_own_curve(others_c, days):
            whole = season_days(past.season, south, rule)
            seen_c = np.full(whole.size, np.nan)
            seen_c[np.isin(whole, days)] = root_zone_c[np.isin(days, whole)]
            curve = fit_curves(others_c[np.newaxis], days)
            ground = _Ground(past.season, kind, past.horizon_d, south, rule, curve, block_id)
            forecasts = None
            if air:
                response = fit_response(others_c, air.air_c, days)
                forecasts = _Forecasts(days, air, response)
            yield _of_season(ground, seen_c, past.opened_d, members, every_d, forecasts)


@dataclass(frozen=True)
class PastAir:
    """Air that was measured, as forecasts might have given it a week ahead.

    air_c : (n_days,), over the days of the root zone; NaN where there is none [degC]
    perfect : whether forecasts give just that; otherwise with errors drawn as forecasts have them
    """

    air_c: NDArray[np.float64]
    perfect: bool


@dataclass(frozen=True)
class _Forecasts:
    days: NDArray[np.datetime64]
    air: PastAir
    response: Response

    def issue(self, issued_on: date, rng: np.random.Generator) -> Air:
        """Return the forecast of the evening of a day."""
        lead_d = np.arange(1, FORECAST_DAYS + 1)
        coming = np.datetime64(issued_on) + lead_d
        errors_c2 = find_errors_c2(coming, lead_d)
        if self.air.perfect:
            errors_c2 *= 0
        error_c = rng.multivariate_normal(np.zeros(FORECAST_DAYS), errors_c2)
        air_c = np.full(FORECAST_DAYS, np.nan)
        air_c[np.isin(coming, self.days)] = self.air.air_c[np.isin(self.days, coming)]
        known = ~np.isnan(air_c)
        forecast_c = (air_c + error_c)[known]
        return Air(coming[known], forecast_c, errors_c2[np.ix_(known, known)], self.response)


@dataclass(frozen=True)
class _Ground:
    """What all outlooks of one season share."""

    season: int
    kind: Kind
    horizon_d: float
    south: bool
    rule: WindowRule
    curve: Curves
    block_id: str

    @property
    def days(self) -> NDArray[np.datetime64]:
        return season_days(self.season, self.south, self.rule)

    def day(self, after_d: float) -> date:
        return season_start(self.season, self.south) + timedelta(days=int(after_d))

    def opened_d(self, courses: Sequence[Sequence[Span]]) -> NDArray[np.float64]:
        """Return when the window first opened in each course, up to the horizon."""
        first = season_start(self.season, self.south)
        openings = (
            [s.opened_on for s in spans if (s.season, s.kind) == (self.season, self.kind)]
            for spans in courses
        )
        opened_d = [float((of[0] - first).days) if of else np.inf for of in openings]
        return up_to(self.horizon_d, np.array(opened_d))

    def run(
        self,
        seen_c: NDArray[np.float64],
        issued_d: NDArray[np.float64],
        members: int,
        forecasts: _Forecasts | None = None,
    ) -> NDArray[np.float64]:
        """Return the opening days of members that have seen some days, outlooks x members."""
        issued_on = [self.day(one_d) for one_d in issued_d]
        air = []
        if forecasts:
            rng = member_rng(f"air of {self.block_id}", self.day(0))
            air = [forecasts.issue(one, rng) for one in issued_on]
        rngs = [member_rng(self.block_id, one) for one in issued_on]
        curves = self.curve.take(np.zeros(len(seen_c), np.intp))
        courses = run_members(
            seen_c, self.season, curves, self.south, self.rule, rngs, members, air=air
        )
        return np.array([self.opened_d(course.spans) for course in courses])

    def persist(self, seen_c: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the opening day of each row, its last anomaly going on."""
        curve_c = yearly_terms(self.days, WAVES) @ self.curve.terms_c[0]
        known = ~np.isnan(seen_c)
        last = seen_c.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1)
        rows = np.arange(len(seen_c))
        anomaly_c = np.where(known.any(axis=1), seen_c[rows, last] - curve_c[last], 0.0)
        to_come = np.arange(seen_c.shape[1]) > np.where(known.any(axis=1), last, -1)[:, np.newaxis]
        course_c = np.where(to_come, curve_c + anomaly_c[:, np.newaxis], seen_c)
        end = self.days[-1].item()
        south = np.full(len(course_c), self.south)
        return self.opened_d(find_spans(course_c, self.days, south, self.rule, end))


def _of_season(
    ground: _Ground,
    seen_c: NDArray[np.float64],
    opened_d: float,
    members: int,
    every_d: int,
    forecasts: _Forecasts | None,
) -> Hindcasts:
    observed_d = min(opened_d, ground.horizon_d)
    nothing_c = np.full((1, seen_c.size), np.nan)
    climate_d = ground.run(nothing_c, np.zeros(1), _CLIMATE_MEMBERS)[0]
    middle_d = opened_d if np.isfinite(opened_d) else float(np.median(climate_d))
    issued_d = np.arange(max(middle_d - BEFORE_D, 0), middle_d + AFTER_D + 1, every_d)
    position = np.arange(seen_c.size) - (ground.rule.mean_days - 1)
    each_c = np.where(position <= issued_d[:, np.newaxis], seen_c, np.nan)
    members_d = ground.run(each_c, issued_d, members, forecasts)
    p10_d, p50_d, p90_d = np.array([likely_days(row) for row in members_d]).T
    n = issued_d.size
    return Hindcasts(
        season=np.full(n, ground.season),
        lead_d=observed_d - issued_d,
        observed_d=np.full(n, observed_d),
        p10_d=p10_d,
        p50_d=p50_d,
        p90_d=p90_d,
        crps_d=crps_ensemble(members_d, np.full(n, observed_d)),
        climatology_crps_d=np.array(
            [_climate_crps_d(climate_d, observed_d, one_d) for one_d in issued_d]
        ),
        persistence_crps_d=np.abs(ground.persist(each_c) - observed_d),
        chance_14=(members_d <= issued_d[:, np.newaxis] + 14).mean(axis=1),
    )


def _climate_crps_d(climate_d: NDArray[np.float64], observed_d: float, issued_d: float) -> float:
    """Return the CRPS of the climatology, which knows what has opened by the day of issue."""
    if observed_d <= issued_d:
        return 0.0
    to_come_d = climate_d[climate_d > issued_d]
    members_d = to_come_d if to_come_d.size else np.array([issued_d + 1])
    return float(crps_ensemble(members_d[np.newaxis], np.array([observed_d]))[0])
