"""The contract of a feed: a station and a span of time in, deliveries out, one after the other.

    def fetch_NAME(fetcher: Fetcher, station: Station, span: Span) -> Iterator[Delivery]

asks with `fetcher` (and nothing else), lets probes.feeds read what comes, and yields what it has as
soon as it has it, oldest first: each delivery is kept before the next is asked for. It gives every
reading of the span once at least; what lies outside of it does no harm. Errors of the fetcher and
FeedAnswerError pass through it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from probes.feeds.contract import FeedReadings
from probes.layouts import Layout
from service.fetching.http import Fetcher


@dataclass(frozen=True)
class Station:
    """A station as its feed needs it.

    spec : its table in the farm file, every key
    utc_offset_min : of its site, local standard time
    layout : how its answers are laid out, where the farm file says it
    """

    id: str
    feed: str
    spec: Mapping[str, Any]
    utc_offset_min: int
    layout: Layout | None = None


@dataclass(frozen=True)
class Span:
    """What is asked for: readings observed from one instant to another, UTC."""

    since: datetime
    until: datetime


@dataclass(frozen=True)
class Delivery:
    """One answer.

    address : where it came from
    content : the answer as it came
    until : up to where the span is done with it
    """

    address: str
    content: bytes
    readings: FeedReadings
    until: datetime


Feed = Callable[[Fetcher, Station, Span], Iterator[Delivery]]
