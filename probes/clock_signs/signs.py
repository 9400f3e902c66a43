"""All signs of a wrong clock in one delivery, one after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from probes.clock import Clock
from probes.clock_signs.drift import find_drift
from probes.clock_signs.peak_hours import find_impossible_peaks, hour_text
from probes.clock_signs.set_by_an_hour import find_set_by_an_hour
from probes.clock_signs.steps import find_jumps, find_steps_back
from probes.clock_signs.summer_time import find_summer_time
from probes.frames import LoggerFile
from probes.future_stamps import TOLERANCE, reject_future
from probes.reset_clocks import find_reset


@dataclass(frozen=True)
class ClockFacts:
    """What must be known of a logger to judge its clock.

    layout_name, clock : None where each stamp states its own offset and no layout is at hand
    stamp_to_end : how long after its stamp the time of a reading lies
    zone, longitude_deg : of the site; degrees east of Greenwich
    depth_cm : of each channel
    """

    layout_name: str
    clock: Clock | None
    stamp_to_end: np.timedelta64
    interval_min: float
    zone: str
    longitude_deg: float
    depth_cm: Mapping[str, float]


def find_clock_signs(
    file: LoggerFile,
    facts: ClockFacts,
    arrived_at: datetime,
    earlier: Sequence[tuple[datetime, datetime]] = (),
) -> list[str]:
    """Return the signs of a wrong clock in a delivery, in words.

    Parameters
    ----------
    file : LoggerFile
        As it was read, rows of the future among them.
    facts : ClockFacts
    arrived_at : datetime
    earlier : sequence of (datetime, datetime)
        When earlier deliveries of the logger arrived and their newest stamps, in order.
    """
    believed = reject_future(file, arrived_at)
    signs = [
        *_find_future(file, arrived_at),
        *find_reset(believed),
        *find_jumps(believed.observed_at, facts.interval_min),
        *find_steps_back(file),
        *_find_impossible_peak(believed, facts),
        *find_set_by_an_hour(
            believed,
            facts.depth_cm,
            facts.longitude_deg,
            facts.interval_min,
            (facts.clock and facts.clock.zone) or facts.zone,
        ),
    ]
    if facts.clock is not None:
        shift = 0 if believed.shift is None else believed.shift
        stamped_at = believed.observed_at - shift - facts.stamp_to_end
        signs += find_summer_time(
            believed, stamped_at, facts.clock, facts.zone, facts.interval_min, facts.layout_name
        )
    if believed.observed_at.size:
        newest = believed.observed_at.max().item().replace(tzinfo=UTC)
        signs += find_drift([*earlier, (arrived_at, newest)])
    return signs


def _find_future(file: LoggerFile, arrived_at: datetime) -> list[str]:
    if not file.observed_at.size:
        return []
    newest = file.observed_at.max().item().replace(tzinfo=UTC)
    ahead = newest - arrived_at
    if ahead <= TOLERANCE:
        return []
    hours = ahead.total_seconds() / 3600
    return [
        f"the newest stamp, {newest:%Y-%m-%d %H:%M} UTC, lies {hours:,.1f} h in the future: set "
        "the logger's clock, or correct what the layout says of it, and import again"
    ]


def _find_impossible_peak(file: LoggerFile, facts: ClockFacts) -> list[str]:
    impossible = find_impossible_peaks(
        file, facts.depth_cm, facts.longitude_deg, facts.interval_min
    )
    if not impossible:
        return []
    peak = impossible[0]
    depths = ", ".join(f"{one.depth_cm:g}" for one in impossible)
    way = "early" if peak.shift_h > 0 else "late"
    return [
        f"soil is warmest at {hour_text(peak.peak_h)} by the sun at {peak.depth_cm:g} cm, where "
        f"{hour_text(peak.possible_h[0])} to {hour_text(peak.possible_h[1])} is possible "
        f"({peak.impossible_days:,} of {peak.days:,} clear days; seen at {depths} cm): "
        f"the stamps are {abs(peak.shift_h):.0f} h or more too {way}; {_remedy(facts)}"
    ]


def _remedy(facts: ClockFacts) -> str:
    if facts.clock is None:
        return "check the clock of the logger"
    return f'check clock = "{facts.clock.name}" in layout.{facts.layout_name}'
