"""Forecasts of the air: fetched where a site asks for it, and made ready for its outlooks.

An outlook never waits for one: what cannot be fetched is noted with its site, and the outlook goes
on without, or with what was forecast before, whose errors are greater.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Engine

from alerts.outlook.air import FORECAST_DAYS, Air, find_errors_c2, fit_response
from probes.feeds.contract import FeedAnswerError
from service.fetching.gridpoint import fetch_gridpoint
from service.fetching.http import Fetcher, FetchError
from service.store.engine import reading, writing
from service.store.forecasts import (
    ForecastRow,
    claim_forecast,
    fetch_forecast_sites,
    note_forecast_failure,
    store_forecast,
)
from service.store.shared_clock import is_over

MakeForecastFetcher = Callable[[ForecastRow], Fetcher]

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class ForecastReport:
    """What a fetch came to: the days of air that it brought, or why it failed."""

    site_id: str
    days: int
    failure: str | None = None


def make_forecast_fetcher(contact: str) -> MakeForecastFetcher:
    """Return what makes the fetcher of a site; all of them together keep a polite pace."""
    last_request_s: MutableMapping[str, float] = {}
    return lambda one: Fetcher(
        contact, one.spec["allow_hosts"] or (), last_request_s=last_request_s
    )


def fetch_due_forecasts(
    engine: Engine, make: MakeForecastFetcher, now: datetime
) -> list[ForecastReport]:
    """Fetch the forecasts that are due; one that fails stops no other."""
    with reading(engine) as connection:
        sites = fetch_forecast_sites(connection)
    due = [one for one in sites if is_over(one.attempted_at, one.every, now)]
    reports = []
    for one in due:
        with writing(engine) as connection:
            is_ours = claim_forecast(connection, one, now)
        if is_ours:
            reports.append(fetch_forecast(engine, make, one, now))
    return reports


def fetch_forecast(
    engine: Engine, make: MakeForecastFetcher, one: ForecastRow, now: datetime
) -> ForecastReport:
    """Fetch the forecast of a site, and note how that went."""
    try:
        found = fetch_gridpoint(
            make(one), one.spec["url"], one.latitude, one.longitude, one.utc_offset_min, now
        )
    except (FetchError, FeedAnswerError) as error:
        failure = str(error)
    except Exception as error:
        # an answer that no reader foresaw stops neither the round nor other sites
        log.exception("fetching the forecast of site %s", one.site_id)
        failure = f"{type(error).__name__}: {error}"
    else:
        issued_on = (found.updated_at + timedelta(minutes=one.utc_offset_min)).date()
        with writing(engine) as connection:
            store_forecast(connection, one, issued_on, found.air_c, now)
        return ForecastReport(one.site_id, len(found.air_c))
    with writing(engine) as connection:
        note_forecast_failure(connection, one, now, failure)
    return ForecastReport(one.site_id, 0, failure)


def find_air(
    forecast: Mapping[date, tuple[date, float]],
    root_zone_c: NDArray[np.float64],
    days: NDArray[np.datetime64],
) -> tuple[Air, date] | None:
    """Return the air after the last root-zone day of a block, and when the latest was forecast.

    Parameters
    ----------
    forecast : mapping
        Of each day, when it was forecast and its mean, as fetch_air gives them. [degC]
    root_zone_c, days : array, shape (n_days,)
        Of the block, up to the day of issue. How it answers the air is fitted to what was forecast
        of these days a day ahead. [degC]

    None where no forecast reaches beyond the day of issue.
    """
    known = np.flatnonzero(~np.isnan(root_zone_c))
    last = days[known[-1]] if known.size else days[0]
    ahead_d = {day: (day - issued_on).days for day, (issued_on, _) in forecast.items()}
    used = [
        day
        for day in sorted(forecast)
        if np.datetime64(day) > last and ahead_d[day] <= FORECAST_DAYS
    ]
    if not used or np.datetime64(used[-1]) <= days[-1]:
        return None
    next_day_c = {day: air_c for day, (_, air_c) in forecast.items() if ahead_d[day] == 1}
    past_c = np.array([next_day_c.get(day, np.nan) for day in days.tolist()])
    at = np.array(used, "datetime64[D]")
    errors_c2 = find_errors_c2(at, np.array([ahead_d[day] for day in used]))
    air_c = np.array([forecast[day][1] for day in used])
    air = Air(at, air_c, errors_c2, fit_response(root_zone_c, past_c, days))
    return air, max(forecast[day][0] for day in used)
