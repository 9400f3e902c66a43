"""What decided a date: the facts behind an opening, a close, or a window that is not open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from alerts.bounds import DateRange
from alerts.notices import Neighbour, StationSource
from alerts.rules import Kind, WindowRule
from alerts.season import season_day
from alerts.states import State
from alerts.windows import Reason, Span, Standing

Event = Literal["opened", "closed", "not open"]
Cause = Literal["warmed", "cooled", "turned", "date", "sum", "first known", "calendar", "unknown"]

SHOWN_MEANS = 5


@dataclass(frozen=True)
class ProbeDay:
    """What one probe, or one thermometer at one depth, gave on a day.

    hours : with a reading that counts, of 24; None: it is read by hand
    left_out : readings that were found suspect, or failed, and do not count
    complete : whether that makes a day
    """

    depth_cm: float
    hours: int | None
    left_out: int
    complete: bool


@dataclass(frozen=True)
class DayBasis:
    """What the root-zone temperature of a day rests on.

    root_zone_c : None where the day has none [degC]
    probes : those in use on that day, by depth
    carried_from_cm : the deepest probe, where the root zone below it is carried down from it
    lent_by : the neighbours that the day is borrowed from
    """

    day: date
    root_zone_c: float | None
    probes: tuple[ProbeDay, ...]
    carried_from_cm: float | None = None
    lent_by: tuple[Neighbour, ...] = ()

    @property
    def estimated_cm(self) -> tuple[float, ...]:
        """The depths without a day of their own, in a day that has a value all the same."""
        if self.root_zone_c is None or self.lent_by:
            return ()
        known = {probe.depth_cm for probe in self.probes if probe.complete}
        return tuple(sorted({probe.depth_cm for probe in self.probes} - known))


@dataclass(frozen=True)
class Why:
    """One thing to explain of a block.

    day : on which it opened or closed; for "not open" the evening that is spoken of
    kind : of the window; of the next one to open for "not open"
    reason : of a close
    state : for "not open"
    basis : of the day, or of the last one with a mean for "not open"
    means : the trailing mean R of consecutive days, the last one that of `basis`; None where there
        is none [degC]
    before, standing : where the block stood on the evening before `day`, and on that of `day`
    spans : of the season, up to `day`
    not_before : the first day on which it may have happened unseen; `day` where none is missing
    between : with the error of readings; None where that moves nothing, as by the calendar
    """

    event: Event
    day: date
    kind: Kind
    reason: Reason | None
    state: State | None
    rule: WindowRule
    south: bool
    root_zone_cm: tuple[float, float]
    stations: tuple[StationSource, ...]
    basis: DayBasis
    means: tuple[tuple[date, float | None], ...]
    before: Standing
    standing: Standing
    spans: tuple[Span, ...]
    not_before: date
    between: DateRange | None

    @property
    def first_spring(self) -> Span | None:
        """The first spring window of the season."""
        return next((span for span in self.spans if span.kind == "spring"), None)

    @property
    def opens_on(self) -> date:
        """The day of the season from which its window may open."""
        if self.kind == "fall":
            return self.turns_from
        return season_day(self.rule.spring_from, self.standing.season, self.south)

    @property
    def turns_from(self) -> date:
        """The day of the season from which fall may start."""
        return season_day(self.rule.fall_from, self.standing.season, self.south)

    @property
    def turns_at_c(self) -> float | None:
        """The R at which fall starts by the highest of the season so far [degC]."""
        highest_c = self.standing.highest_c
        return None if highest_c is None else highest_c - self.rule.fall_drop_c


@dataclass(frozen=True)
class Decisive:
    """What of the rule decided.

    limit_c : that R met, or has to meet; None where the calendar decides [degC]
    short_by_c : what was lacking the day before an opening, what would have kept a window open,
        what it takes to open; None where nothing is lacking or it is not known [degC]
    """

    cause: Cause
    limit_c: float | None = None
    short_by_c: float | None = None


def find_decisive(why: Why) -> Decisive:
    """Return which limit of the rule decided, or has to be met."""
    match why.event:
        case "opened":
            return _decide_opening(why)
        case "closed":
            return _decide_close(why)
        case "not open":
            return _decide_next(why)


def _decide_opening(why: Why) -> Decisive:
    mean_before_c = why.before.mean_c if why.before.mean_on == _day_before(why) else None
    if why.kind == "fall" and why.standing.turned_on == why.day:
        return _beyond("turned", why.turns_at_c, mean_before_c, above=True)
    low_c, high_c = why.before.opens_from_c, why.before.opens_to_c
    if mean_before_c is None:
        return Decisive("first known", low_c)
    if mean_before_c > high_c + why.rule.tolerance_c:
        return _beyond("cooled", high_c, mean_before_c, above=True)
    if mean_before_c < low_c - why.rule.tolerance_c:
        return _beyond("warmed", low_c, mean_before_c, above=False)
    if why.kind == "spring" and why.day == why.opens_on:
        return Decisive("date", low_c)
    if why.rule.degree_days == "condition":
        return Decisive("sum", low_c)
    return Decisive("first known", low_c)


def _decide_close(why: Why) -> Decisive:
    mean_c = why.standing.mean_c
    match why.reason:
        case "cold":
            return _beyond("cooled", why.rule.cold_below_c, mean_c, above=False)
        case "hot":
            return _beyond("warmed", why.rule.hot_above_c, mean_c, above=True)
        case "turned":
            return _beyond("turned", why.turns_at_c, mean_c, above=False)
        case _:
            return Decisive("calendar")


def _decide_next(why: Why) -> Decisive:
    mean_c, tolerance_c = why.standing.mean_c, why.rule.tolerance_c
    if why.state in ("no basis", "no recent readings", "spring start not seen") or mean_c is None:
        return Decisive("unknown")
    if why.kind not in why.rule.windows:
        return Decisive("calendar")
    if why.kind == "fall" and why.standing.turned_on is None:
        return _beyond("turned", why.turns_at_c, mean_c, above=True)
    low_c, high_c = why.standing.opens_from_c, why.standing.opens_to_c
    if mean_c > high_c + tolerance_c:
        return _beyond("cooled", high_c, mean_c, above=True)
    if mean_c < low_c - tolerance_c:
        return _beyond("warmed", low_c, mean_c, above=False)
    return Decisive("date" if why.day < why.opens_on else "sum", low_c)


def _beyond(cause: Cause, limit_c: float | None, mean_c: float | None, *, above: bool) -> Decisive:
    """Return by how much R is above, or below, a limit."""
    if limit_c is None or mean_c is None:
        return Decisive(cause, limit_c)
    short_by_c = mean_c - limit_c if above else limit_c - mean_c
    return Decisive(cause, limit_c, short_by_c if short_by_c > 0 else None)


def _day_before(why: Why) -> date:
    return why.day - timedelta(days=1)


def find_next_kind(
    standing: Standing, first_spring: Span | None, rule: WindowRule, state: State, day: date
) -> Kind:
    """Return which window may open next on a day on which none is open."""
    if standing.turned_on is not None or "spring" not in rule.windows:
        return "fall"
    spent = first_spring and day >= first_spring.opened_on + timedelta(days=rule.spring_days)
    return "fall" if spent or state == "spring start not seen" else "spring"
