"""Stations: the keys that each feed needs and takes, and the depths that are known beforehand."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from probes.feeds.crn import DAILY, FIVE_MINUTES, HOURLY
from service.farm.models import Farm, FarmTable, Station
from service.farm.text import one_of, table_label, value_text

COMMON_KEYS = {"id", "site", "feed", "every_min", "first_day", "allow_hosts", "silent_factor"}


@dataclass(frozen=True)
class FeedKeys:
    """What a station says of its feed.

    interval_min : between readings, unless the station says otherwise; None: its layout says it
    """

    needed: tuple[str, ...]
    optional: tuple[str, ...]
    interval_min: float | None


FEED_KEYS: Mapping[str, FeedKeys] = {
    "crn-hourly": FeedKeys(("station", "wban"), ("url",), HOURLY.interval_min),
    "crn-daily": FeedKeys(("station", "wban"), ("url",), DAILY.interval_min),
    "crn-5min": FeedKeys(("station", "wban"), ("url",), FIVE_MINUTES.interval_min),
    "awdb": FeedKeys(("station",), ("elements", "utc_offset", "interval_min", "url"), 60),
    "sensorthings": FeedKeys(("url", "datastreams"), ("interval_min",), 60),
    "plain": FeedKeys(("url", "layout"), ("records",), None),
}
_CRN = {"crn-hourly": HOURLY, "crn-daily": DAILY, "crn-5min": FIVE_MINUTES}


def interval_min(station: Station) -> float | None:
    """Return the minutes between a station's readings; None where its layout says it."""
    return station.interval_min or FEED_KEYS[station.feed].interval_min


def find_wrong_keys(farm: Farm) -> Iterator[str]:
    """Give a line for each key that a station lacks, or that says nothing to its feed."""
    for station in farm.station.values():
        label = table_label("station", station.id)
        keys = FEED_KEYS[station.feed]
        of_feed = f"feed = {value_text(station.feed)}"
        for key in keys.needed:
            if getattr(station, key) is None:
                yield f"{label}: {key} is missing; {of_feed} needs {', '.join(keys.needed)}"
        known = {*COMMON_KEYS, *keys.needed, *keys.optional}
        for key in Station.model_fields:
            if key not in known and getattr(station, key) is not None:
                takes = ", ".join((*keys.needed, *keys.optional))
                yield f"{label}: {key} says nothing to {of_feed}, which takes {takes}; take it out"
        if station.id in farm.logger:
            yield f"{label}: a logger has this id too; give each its own"


def find_depths_cm(station: Station, layouts: Mapping[str, FarmTable]) -> Collection[float] | None:
    """Return the depths that a station's feed can have; None where only the feed knows."""
    if station.feed in _CRN:
        return _CRN[station.feed].depths_cm.values()
    if station.datastreams is not None:
        return station.datastreams.values()
    columns = getattr(layouts.get(station.layout or ""), "columns", None)
    return None if columns is None else columns.values()


def describe_unknown_depth(
    block_id: str, station: Station, depth_cm: float, layouts: Mapping[str, FarmTable]
) -> str | None:
    """Return what is wrong where a block names a depth that its station has not."""
    depths_cm = find_depths_cm(station, layouts)
    if depths_cm is None or depth_cm in depths_cm:
        return None
    names = [f"{station.id}:{value_text(depth)}" for depth in sorted(depths_cm)]
    wanted = f"{station.id}:{value_text(depth_cm)}"
    return (
        f"{table_label('block', block_id)}: probes holds {value_text(wanted)}: "
        f"no such depth at that station; write {one_of(names, wanted)}"
    )
