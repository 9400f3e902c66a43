"""Whether a logger, or one of its probes, has fallen silent, by how its readings usually come.

How they come is learned from its last deliveries. Those that a network brings are late when several
of them are missing. A logger that someone empties every week or month is not silent in between: a
download is due once its usual time has passed. A probe is held against the others of its logger,
whatever the clock says: it has stopped when they have gone on without it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

SHORTEST = timedelta(days=1)
"""What counts here are days: less is not told."""
FIRST_DAYS = timedelta(days=7)
"""A logger that is being set up is left alone for as long."""
USUAL_OF = 9
"""How many of the last intervals say what is usual: few, so that a new habit is soon known."""
LEAST_INTERVALS = 2
EMPTIED_EVERY = timedelta(days=3)
"""Files that come more often are carried by a machine."""
FILES_APART = timedelta(hours=12)
"""Files that come closer together are of one visit."""

Kind = Literal["stopped", "due"]
Turn = Literal["stopped", "due", "returned"]


@dataclass(frozen=True)
class Delivery:
    """One delivery of a logger: when it arrived, its newest stamp, whether a file brought it."""

    arrived_at: datetime
    newest_at: datetime
    by_file: bool


@dataclass(frozen=True)
class Cadence:
    """How the deliveries of a logger usually come.

    every : from one to the next
    lag : how old its newest reading is when one arrives
    emptied : whether someone has to go there and empty the logger
    """

    every: timedelta
    lag: timedelta
    emptied: bool


@dataclass(frozen=True)
class ProbeHeard:
    """The newest usable reading of a probe, and its usual interval between readings."""

    newest_at: datetime
    every: timedelta


@dataclass(frozen=True)
class Heard:
    """What has come of a logger.

    first_at : when its first delivery arrived
    cadence : None while it is not known yet
    probes : those that ever gave a usable reading, by their ids
    """

    first_at: datetime
    cadence: Cadence | None
    probes: Mapping[int, ProbeHeard]


@dataclass(frozen=True)
class Standing:
    """How a logger or probe stands.

    newest_at : its last usable reading
    kind : what its silence is
    silent_from : when it counts as silent without a newer reading; None: nothing is usual yet
    is_silent : whether that has come
    """

    newest_at: datetime
    kind: Kind
    silent_from: datetime | None
    is_silent: bool


def find_cadence(deliveries: Sequence[Delivery], interval: timedelta) -> Cadence | None:
    """Return how deliveries usually come; None while there are too few.

    Parameters
    ----------
    deliveries : in order of arrival; the last ones suffice
    interval : between two readings of the logger

    Only what brings newer readings counts. What arrives within half an interval, or for files half
    a day, is one delivery: a backlog tells nothing of what is usual. Usual is the middle one of the
    last nine, the longer of two middle ones.
    """
    visits: list[Delivery] = []
    for one in deliveries:
        if visits and one.newest_at <= visits[-1].newest_at:
            continue
        apart = FILES_APART if one.by_file else interval / 2
        if visits and one.arrived_at - visits[-1].arrived_at < apart:
            visits[-1] = replace(one, arrived_at=visits[-1].arrived_at)
        else:
            visits.append(one)
    visits = visits[-USUAL_OF - 1 :]
    if len(visits) <= LEAST_INTERVALS:
        return None
    every = find_usual([later.arrived_at - one.arrived_at for one, later in pairwise(visits)])
    lag = find_usual([one.arrived_at - one.newest_at for one in visits])
    emptied = visits[-1].by_file and every >= EMPTIED_EVERY
    return Cadence(every, max(lag, timedelta()), emptied)


def find_usual(intervals: Sequence[timedelta]) -> timedelta:
    """Return the middle one of intervals, the longer of two middle ones."""
    return sorted(intervals)[len(intervals) // 2]


def find_standings(heard: Heard, now: datetime, factor: float) -> dict[int | None, Standing]:
    """Return how a logger (None) and its probes stand.

    `factor` is how many times its usual interval a logger or probe may be late.
    """
    newest_at = max((one.newest_at for one in heard.probes.values()), default=None)
    if newest_at is None:
        return {}
    is_known = now >= heard.first_at + FIRST_DAYS
    silent_from = None
    kind: Kind = "stopped"
    if heard.cadence is not None:
        kind = "due" if heard.cadence.emptied else "stopped"
        late = max(SHORTEST, factor * heard.cadence.every)
        wait = heard.cadence.every if heard.cadence.emptied else late
        silent_from = newest_at + heard.cadence.lag + wait
    standings: dict[int | None, Standing] = {
        None: _stand(newest_at, kind, silent_from, is_known, now)
    }
    for key, probe in heard.probes.items():
        without = probe.newest_at + max(SHORTEST, factor * probe.every)
        standings[key] = _stand(probe.newest_at, "stopped", without, is_known, newest_at)
    return standings


def _stand(
    newest_at: datetime, kind: Kind, silent_from: datetime | None, is_known: bool, at: datetime
) -> Standing:
    is_silent = is_known and silent_from is not None and at >= silent_from
    return Standing(newest_at, kind, silent_from, is_silent)


def find_turn(standing: Standing, silent_since: datetime | None) -> Turn | None:
    """Return what is new of a logger or probe.

    `silent_since` is its last reading before the silence that is known of, None: of none. It ends
    when newer readings have come and are as fresh as usual, not with the first straggler.
    """
    if silent_since is None:
        return standing.kind if standing.is_silent else None
    return "returned" if not standing.is_silent and standing.newest_at > silent_since else None
