"""The national climate reference network [CRN-README]: a file for each station and year."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from difflib import get_close_matches

from probes.clock import format_offset
from probes.feeds.contract import FeedAnswerError, NothingThereError
from probes.feeds.crn import DAILY, FIVE_MINUTES, HOURLY, Product, read_crn, read_offset_min
from service.fetching.deliveries import Delivery, Span, Station
from service.fetching.http import Fetcher, FetchError, PermanentFetchError

ADDRESS = "https://www.ncei.noaa.gov/pub/data/uscrn/products"
PRODUCTS = {"crn-hourly": HOURLY, "crn-daily": DAILY, "crn-5min": FIVE_MINUTES}
DAY = timedelta(days=1)
SOME_LINES = 20 * (HOURLY.width + 1)
NOT_FOUND = 404


def fetch_crn(fetcher: Fetcher, station: Station, span: Span) -> Iterator[Delivery]:
    """Ask for the files of all years of a span, as far as there are any.

    Of `station.spec`: `station`, as its files are named; `wban`, its number; `url`, the folder
    of the products.
    """
    product = PRODUCTS[station.feed]
    # by UTC or by local years: a day more on both sides holds them all
    years = range((span.since - DAY).year, (span.until + DAY).year + 1)
    absent = []
    for year in years:
        url = _address(station, product, year)
        try:
            content = fetcher.fetch(url)
        except PermanentFetchError as error:
            if error.status != NOT_FOUND:
                raise
            absent.append(error)
            continue
        if content is None:
            continue
        if product is DAILY:
            _check_offset(fetcher, station, year)
        wban, offset_min = station.spec["wban"], station.utc_offset_min
        try:
            readings = read_crn(content, product, wban, span.since, span.until, offset_min)
        except FeedAnswerError as error:
            raise FeedAnswerError(f"{url}: {error}") from None
        end = datetime(year + 1, 1, 1, tzinfo=UTC)
        yield Delivery(url, content, readings, min(span.until, end))
    if len(absent) == len(years):
        explained = _explain_absence(fetcher, station, product, years[0])
        raise explained or NothingThereError(str(absent[0]))


def _address(station: Station, product: Product, year: int) -> str:
    name = product.file_name(year, station.spec["station"])
    return f"{_folder(station, product, year)}{name}"


def _folder(station: Station, product: Product, year: int) -> str:
    root = (station.spec.get("url") or ADDRESS).rstrip("/")
    return f"{root}/{product.name}/{year}/"


def _check_offset(fetcher: Fetcher, station: Station, year: int) -> None:
    """Refuse a day's means where the days of the station's site are not those of its file.

    The daily product states no offset; the hourly one of the same year states it.
    """
    url = _address(station, HOURLY, year)
    content = fetcher.fetch(url, first_bytes=SOME_LINES) or b""
    try:
        offset_min = read_offset_min(content, station.spec["wban"])
    except FeedAnswerError as error:
        raise FeedAnswerError(f"{url}: {error}") from None
    if offset_min != station.utc_offset_min:
        raise FeedAnswerError(
            f"{url}: the station's days end at midnight {format_offset(offset_min)}, those of its "
            f"site at midnight {format_offset(station.utc_offset_min)}; set utc_offset = "
            f'"{format_offset(offset_min)}" for its site'
        )


def _explain_absence(
    fetcher: Fetcher, station: Station, product: Product, year: int
) -> FeedAnswerError | None:
    """Return why there is no file, by the list of those that there are; None where that fails."""
    folder, name = _folder(station, product, year), station.spec["station"]
    try:
        page = fetcher.fetch(folder) or b""
    except FetchError:
        return None
    # as the open reader uscrn finds them [CRN-LINES]
    files = re.findall(r">(CRN[\w-]*)\.txt<", page.decode("ascii", "replace"))
    stations = {file.partition(f"-{year}-")[2]: file for file in files}
    if name in stations:
        return FeedAnswerError(
            f"{folder}: {stations[name]}.txt is in another format than "
            f"{product.file_name(year, name)}; this version cannot read it, look for a newer one"
        )
    near = ", ".join(get_close_matches(name, stations, 3)) or "no name like it"
    return NothingThereError(f"{folder}: no file of station {name}; there is {near}")
