"""The government snow-and-soil network's REST API [AWDB-REST]: what it is asked."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from probes.clock import parse_offset_min
from probes.feeds.answers import load_answer
from probes.feeds.awdb import EVERY_INSTANT, choose_offset_min, read_data, read_offset_min
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.http import Fetcher

ADDRESS = "https://wcc.sc.egov.usda.gov/awdbRestApi/services/v1"
DAYS_AT_ONCE = 90  # the network limits what one request may ask for


def fetch_awdb(fetcher: Fetcher, station: Station, span: Span) -> Iterator[Delivery]:
    """Ask for a station's hourly soil temperature at all depths, some months at a time.

    Of `station.spec`: `station`, its triplet; `elements`, what is asked for; `utc_offset`, where
    the network does not state the station's clock; `url`, the root of the service.
    """
    root = (station.spec.get("url") or ADDRESS).rstrip("/")
    triplet = station.spec["station"]
    elements = station.spec.get("elements") or [EVERY_INSTANT]
    asked = {"stationTriplets": triplet}
    # A station that has ended still has a past.
    known = load_answer(fetcher.fetch_anew(f"{root}/stations", asked | {"activeOnly": "false"}))
    stated = station.spec.get("utc_offset")
    stated_min = None if stated is None else parse_offset_min(stated)
    offset_min = choose_offset_min(read_offset_min(known, triplet), stated_min, triplet)
    since = span.since
    while since < span.until:
        until = min(since + timedelta(days=DAYS_AT_ONCE), span.until)
        first, last = ((at + timedelta(minutes=offset_min)).date() for at in (since, until))
        content = fetcher.fetch_anew(
            f"{root}/data",
            asked
            | {
                "elements": ",".join(elements),
                "duration": "HOURLY",
                "beginDate": f"{first}",
                "endDate": f"{last + timedelta(days=1)}",  # whether its hours belong is not said
                "periodRef": "END",
                "centralTendencyType": "NONE",
                "returnFlags": "true",
                "returnOriginalValues": "false",
                "returnSuspectData": "true",  # to be told as rejected, and not to vanish
            },
        )
        readings = read_data(load_answer(content), triplet, offset_min)
        yield Delivery(f"{root}/data", content, readings, until)
        since = until
