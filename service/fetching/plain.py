"""Delimited text or JSON at an address, as a layout of the farm file describes it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from probes.feeds.answers import load_answer
from probes.feeds.contract import FeedAnswerError, FeedReadings
from probes.feeds.plain import to_delimited
from probes.logger_files import FileRefused, read_logger_file
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.http import Fetcher

DAY = timedelta(days=1)


def fetch_plain(fetcher: Fetcher, station: Station, span: Span) -> Iterator[Delivery]:
    """Ask for all that an address holds.

    Of `station.spec`: `url`, in which {since} and {until} stand for the first and the last day
    that are asked for; `records`, where the answer is JSON.
    """
    layout, records = station.layout, station.spec.get("records")
    if layout is None:
        raise FeedAnswerError(f"station {station.id} has no layout; set it up again")
    url = station.spec["url"]
    for name, instant in (("since", span.since - DAY), ("until", span.until + DAY)):
        url = url.replace(f"{{{name}}}", f"{instant:%Y-%m-%d}")
    content = fetcher.fetch(url)
    if content is None:
        return
    try:
        text = content
        if records is not None:
            text, layout = to_delimited(load_answer(content), records, layout)
        with TemporaryDirectory() as folder:
            path = Path(folder) / "answer"
            path.write_bytes(text)
            file = read_logger_file(
                path, layout, logger_id=station.id, latest_year=span.until.year + 1
            )
    except (FileRefused, FeedAnswerError) as error:
        reason = str(error).removeprefix("answer: ")
        raise FeedAnswerError(f"{url}: {reason}") from None
    yield Delivery(url, content, FeedReadings(layout.columns, file), span.until)
