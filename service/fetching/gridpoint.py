"""The national weather service's forecast for a grid cell [NWS-GRIDPOINT]: what it is asked."""

from __future__ import annotations

from datetime import datetime

from probes.feeds.answers import load_answer
from probes.feeds.gridpoint import AirForecast, read_grid_url, read_gridpoint
from service.fetching.http import Fetcher

ADDRESS = "https://api.weather.gov"


def fetch_gridpoint(
    fetcher: Fetcher,
    url: str | None,
    latitude: float,
    longitude: float,
    utc_offset_min: int,
    now: datetime,
) -> AirForecast:
    """Ask which grid cell a place lies in, which may change, and for the forecast of that cell."""
    # four decimals at most, and no zeros at their end: otherwise it redirects
    place = ",".join(f"{at:.4f}".rstrip("0").rstrip(".") for at in (latitude, longitude))
    point = load_answer(fetcher.fetch_anew(f"{(url or ADDRESS).rstrip('/')}/points/{place}"))
    return read_gridpoint(
        load_answer(fetcher.fetch_anew(read_grid_url(point))), utc_offset_min, now
    )
