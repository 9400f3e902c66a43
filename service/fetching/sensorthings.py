"""A server of the OGC SensorThings API 1.1 [OGC-STA]: what it is asked, page after page.

Where a server puts observations in order of their time, the next page is what comes after the last
observation: links to it shift while new observations arrive, and some servers forget to give one.
Where it does not, its links are followed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from urllib.parse import quote

from probes.feeds.answers import join_records, load_answer
from probes.feeds.contract import FeedAnswerError
from probes.feeds.sensorthings import Page, check_next, datastream_path, read_page, read_unit
from probes.units import Unit
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.http import Fetcher, PermanentFetchError

DAYS_AT_ONCE = 30
LONGEST_INTERVAL = timedelta(days=1)  # an interval may begin before the span in which it ends
MOST_PAGES = 1000  # of one datastream in DAYS_AT_ONCE; of 100 observations, one each 26 s
PAGE_ROWS = 1000
"""What a page may hold: many servers give 100 unless asked for more, and as many as they like if
so. Where links are followed none is named: some would take it for all that is wanted."""
NO_SUCH_ORDER = (400, 422, 500, 501)
"""How servers refuse an $orderby that they do not know."""


@dataclass(frozen=True)
class _Datastream:
    """A datastream to read; `url` is that of its observations."""

    channel: str
    depth_cm: float
    url: str
    unit: Unit


@dataclass(frozen=True)
class _Answer:
    url: str
    content: bytes
    page: Page


class _NoSuchOrderError(Exception):
    """The server does not give observations in the order that was asked for."""


def fetch_sensorthings(fetcher: Fetcher, station: Station, span: Span) -> Iterator[Delivery]:
    """Ask for the observations of a station's datastreams, a month at a time.

    Of `station.spec`: `url`, the root of the service ("https://example.org/v1.1"), and
    `datastreams`, the depth [cm] of each id.
    """
    root = station.spec["url"].rstrip("/")
    streams = [
        _find_datastream(fetcher, root, datastream, depth_cm)
        for datastream, depth_cm in station.spec["datastreams"].items()
    ]
    since = span.since
    while since < span.until:
        until = min(since + timedelta(days=DAYS_AT_ONCE), span.until)
        deliveries = [
            delivery
            for stream in streams
            for delivery in _fetch_datastream(fetcher, stream, Span(since, until))
        ]
        held = [delivery for delivery in deliveries if _holds_something(delivery)]
        *others, last = held or deliveries[-1:]
        yield from others
        yield replace(last, until=until)
        since = until


def _find_datastream(fetcher: Fetcher, root: str, datastream: str, depth_cm: float) -> _Datastream:
    url = f"{root}/{datastream_path(datastream)}"
    try:
        unit = read_unit(load_answer(fetcher.fetch_anew(url)))
    except FeedAnswerError as error:
        raise FeedAnswerError(f"datastream {datastream}: {error}") from error
    return _Datastream(datastream, depth_cm, f"{url}/Observations", unit)


def _fetch_datastream(fetcher: Fetcher, stream: _Datastream, span: Span) -> Iterator[Delivery]:
    """Give what each page holds that none before it held; the span is not done with it."""
    seen: set[str] = set()
    for answer in _read_answers(fetcher, stream, span):
        new = {one.key: one for one in answer.page.observations if one.key not in seen}
        seen.update(new)
        records = {(stream.channel, stream.depth_cm): [one.record for one in new.values()]}
        yield Delivery(answer.url, answer.content, join_records(records), span.since)


def _read_answers(fetcher: Fetcher, stream: _Datastream, span: Span) -> list[_Answer]:
    """Return all pages, by the best order that the server knows."""
    for order in ("phenomenonTime", "resultTime"):
        try:
            return list(_read_in_order(fetcher, stream, span, order))
        except _NoSuchOrderError:
            continue
    return list(_read_in_order(fetcher, stream, span, None))


def _read_in_order(
    fetcher: Fetcher, stream: _Datastream, span: Span, order: str | None
) -> Iterator[_Answer]:
    """Give page after page: by time where that is the order, otherwise by the server's links."""
    position = span.since - LONGEST_INTERVAL
    url = _observations_url(stream, position, span.until, order)
    asked: set[str] = set()
    while url not in asked:  # a link may lead back
        first = not asked
        asked.add(url)
        if len(asked) > MOST_PAGES:
            raise FeedAnswerError(
                f"datastream {stream.channel}: more than {MOST_PAGES} pages in {DAYS_AT_ONCE} "
                "days; tell who runs the server"
            )
        try:
            content = fetcher.fetch_anew(url, final=NO_SUCH_ORDER if order and first else ())
        except PermanentFetchError as error:
            if order and first and error.status in NO_SUCH_ORDER:
                raise _NoSuchOrderError from error
            raise
        page = read_page(load_answer(content), url, stream.unit)
        begins = [one.begins_at for one in page.observations if one.begins_at]
        by_time = order == "phenomenonTime" and bool(begins)
        if by_time and not _are_as_asked(begins, position):
            raise _NoSuchOrderError
        yield _Answer(url, content, page)
        if by_time and begins[-1] > position:
            position = begins[-1]
            url = _observations_url(stream, position, span.until, order)
        elif by_time and len(begins) == 1:
            return  # the last one again; some servers give a link, and a wrong one, even here
        elif page.observations and page.next_url:
            check_next(url, page.next_url)
            url = page.next_url
        else:
            return


def _are_as_asked(begins: list[datetime], position: datetime) -> bool:
    """Whether observations are in order and none lies before what was asked for."""
    in_order = all(before <= after for before, after in pairwise(begins))
    return in_order and begins[0] >= position - LONGEST_INTERVAL


def _observations_url(
    stream: _Datastream, since: datetime, until: datetime, order: str | None
) -> str:
    options = {
        "$filter": f"phenomenonTime ge {_text(since)} and phenomenonTime le {_text(until)}",
        **({"$orderby": f"{order} asc"} if order else {}),
        **({"$top": str(PAGE_ROWS)} if order == "phenomenonTime" else {}),
        "$select": "id,phenomenonTime,result",
    }
    query = "&".join(f"{key}={quote(value, safe=',:')}" for key, value in options.items())
    return f"{stream.url}?{query}"


def _text(instant: datetime) -> str:
    """Return a time without the + of an offset, which servers put bare into their links."""
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _holds_something(delivery: Delivery) -> bool:
    return bool(delivery.readings.file.line.size or delivery.readings.file.rejects)
