"""Readings given one by one, by a push or a person: each is taken or rejected with its reason."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from probes.cells import LARGEST_NUMBER
from probes.frames import LoggerFile, Reject
from probes.logger_lines import shown
from service.daily_means import find_stretches
from service.store.loggers import Logger

EARLIEST = datetime(1980, 1, 1, tzinfo=UTC)
"""Of readings that are given one by one; clocks that lose their time begin again with 1970."""

RFC_3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,6})?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)


@dataclass(frozen=True)
class Given:
    """One reading as it was given; its depth or its channel is None, whichever was not said.

    number : which it is, the first being 1
    soil_temp_c : None: given as missing
    text : how it was written
    """

    number: int
    observed_at: str
    depth_cm: float | None
    channel: str | None
    soil_temp_c: float | None
    text: str


def gather(logger: Logger, given: Iterable[Given], rejects: Iterable[Reject] = ()) -> LoggerFile:
    """Return the readings of a logger, a row each, and with `rejects` those that are none."""
    taken: list[tuple[int, datetime, str, float]] = []
    rejected, missing = list(rejects), 0
    for one in given:
        try:
            observed_at = parse_instant(one.observed_at)
            channel = find_channel(logger, one, observed_at)
            if one.soil_temp_c is not None and abs(one.soil_temp_c) > LARGEST_NUMBER:
                raise ValueError(f"{one.soil_temp_c:g} °C is no temperature of soil")
        except ValueError as error:
            rejected.append(Reject(one.number, str(error), shown(one.text), 1))
            continue
        if one.soil_temp_c is None:
            missing += 1
        else:
            taken.append((one.number, observed_at, channel, one.soil_temp_c))
    channels = tuple(dict.fromkeys(channel for _, _, channel, _ in taken))
    soil_temp_c = np.full((len(taken), len(channels)), np.nan)
    for row, (_, _, channel, value_c) in enumerate(taken):
        soil_temp_c[row, channels.index(channel)] = value_c
    instants = [observed_at.replace(tzinfo=None) for _, observed_at, _, _ in taken]
    return LoggerFile(
        channels=channels,
        line=np.array([number for number, _, _, _ in taken], np.int64),
        observed_at=np.array(instants, "datetime64[us]"),
        soil_temp_c=soil_temp_c,
        missing=missing,
        rejects=tuple(sorted(rejected, key=lambda reject: reject.line)),
    )


def parse_instant(text: str) -> datetime:
    """Return the instant of an RFC 3339 stamp in UTC; ValueError where it is none."""
    try:
        if not RFC_3339.fullmatch(text):
            raise ValueError
        instant = datetime.fromisoformat(text.upper()).astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValueError(
            f"observed_at = '{shown(text)}' is no time with its offset; "
            "write 2025-10-02T07:30:00+10:00"
        ) from None
    if instant < EARLIEST:
        raise ValueError(
            f"observed_at = '{text}' lies before {EARLIEST:%Y}, as of a clock that lost its time; "
            "set it, or import older readings from a file"
        )
    return instant


def find_channel(logger: Logger, one: Given, observed_at: datetime) -> str:
    """Return the channel of a reading by its name, or by the depth at which it lay on that day."""
    in_use = [probe for probe in logger.probes if probe.stretches]
    if one.channel is not None:
        if one.channel not in [probe.channel for probe in in_use]:
            known = ", ".join(probe.channel for probe in in_use)
            raise ValueError(
                f"{logger.id} has no channel '{shown(one.channel)}'; there are: {known}"
            )
        return one.channel
    instant = np.array([observed_at.replace(tzinfo=None)], "datetime64[us]")
    depths_cm = {}
    for probe in in_use:
        place = find_stretches(probe, instant, logger.utc_offset_min).item()
        if place >= 0:
            depths_cm[probe.channel] = probe.stretches[place].depth_cm
    found = [channel for channel, depth_cm in depths_cm.items() if depth_cm == one.depth_cm]
    if len(found) == 1:
        return found[0]
    where = f"{logger.id} on {observed_at:%Y-%m-%d}"
    if found:
        raise ValueError(f"{where} has {len(found)} probes at that depth; give the channel of one")
    known = ", ".join(f"{depth_cm:g}" for depth_cm in sorted(set(depths_cm.values())))
    raise ValueError(f"{where} has no probe at {one.depth_cm:.9g} cm; there are: {known or 'none'}")
