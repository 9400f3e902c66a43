"""What a comparison found, as a report that a researcher can hand in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from pandas import isnull

from alerts.rules import WindowRule
from alerts.study.estimates import LEAST_SEASONS
from probes.units import delta_c_to_f
from service.pictures import colours_css
from service.showing import count_text
from service.study.days import StudyDays
from service.study.methods import REFERENCES, list_rule, show_limit, tell_methods
from service.study.summaries import (
    PLACE,
    VARIANT,
    Key,
    PlaceDifference,
    Summary,
    find_differences,
    pair_places,
    summarise,
    tell_pairing,
)
from service.study.words import (
    name_place,
    show_day,
    show_days,
    show_difference,
    show_middle,
    show_trend,
)

CLIMATE_YEARS = 30
"""What a climate is told from: [WMO-NORMALS]."""

_OPENS = VARIANT.index("spring_opens_c")
_KEY = (
    "solid where open, with a soft edge where a gap hides from or until when; dots: too hot; a "
    "line in the middle: spring spent; a dashed frame: no readings."
)
_CAPTIONS = {
    "ribbons": "Seasons at {site}, from left to right: {key}",
    "depths": "Daily mean temperature by depth at {site}.",
    "elevation": "Spring openings against height above the sea.",
    "thresholds": "Spring openings against the threshold: the mean of those seasons whose opening "
    "is known to the day at every one of them.",
}


@dataclass(frozen=True)
class Found:
    """A comparison.

    frame : as service.study.windows.compare gives it of the days
    rules : the first is the one that is shown season by season
    asked : what was asked for, in words
    against : as for service.study.summaries.pair_places
    """

    days: StudyDays
    frame: Any
    rules: Sequence[WindowRule]
    as_of: date
    asked: Mapping[str, str]
    against: str = ""

    def take_first(self, any_limit: bool = False) -> Any:
        """Return the rows under the first rule, or under it with any of the limits of spring."""
        rule, frame = self.rules[0], self.frame
        same = any_limit | (frame["spring_opens_c"] == rule.spring_opens_c)
        same &= (frame["rule"] == rule.name) & (frame["mean_days"] == rule.mean_days)
        return frame[same & (frame["margin_f"] == round(delta_c_to_f(rule.margin_c), 9))]


@dataclass(frozen=True)
class Table:
    """A table of texts."""

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True)
class Figure:
    """A figure as an SVG element."""

    caption: str
    svg: str


@dataclass(frozen=True)
class Section:
    """A part of the report."""

    title: str
    paragraphs: Sequence[str] = ()
    tables: Sequence[Table] = ()
    figures: Sequence[Figure] = ()


@dataclass(frozen=True)
class Report:
    """A report."""

    title: str
    sections: Sequence[Section]


def write_html(report: Report) -> str:
    """Return a report as one HTML file that needs no other."""
    environment = Environment(
        loader=PackageLoader("service.study"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template("report.html").render(report=report, style=colours_css())


def make_report(
    found: Found, note: str, svgs: Mapping[str, str], provenance: Mapping[str, str]
) -> Report:
    """Return the report of a comparison.

    Parameters
    ----------
    note : where the data are from, in paragraphs
    svgs : figures by name, as service.study.figures names them
    provenance : what it was made of and by, in the order in which it is told
    """
    frame = found.frame
    summaries = list(summarise(frame))
    differences = list(find_differences(frame, pair_places(frame, found.against)))
    seasons = frame["season"]
    places = frame[PLACE].drop_duplicates()
    span = f"{seasons.min()} to {seasons.max()}"
    title = f"Openings of {count_text(len(places), 'place')}, {span}"
    variants = list(dict.fromkeys(one.variant for one in summaries))
    return Report(
        title,
        [
            Section(
                "Data",
                [" ".join(one.split()) for one in note.split("\n\n") if one.strip()],
                [_list_places(found.days)],
            ),
            Section(
                "Methods",
                list(tell_methods(frame, found.asked["accuracy of sensors"])),
                [_list_rule(found.rules[0])],
            ),
            Section(
                "Results",
                _tell_rules(variants, found.rules[0].spring_opens_c),
                [
                    _list_seasons(found.take_first()),
                    *(_list_summaries(summaries, variant) for variant in variants),
                    *_list_differences(differences, found.against),
                ],
                [Figure(_caption(name), svg) for name, svg in svgs.items()],
            ),
            Section("What these data cannot say", list(_tell_limits(frame, summaries))),
            Section("References", [f"[{key}] {text}." for key, text in REFERENCES.items()]),
            Section(
                "Made of",
                [],
                [
                    Table(
                        "Of the same store and settings the same files come.",
                        ("what", "which"),
                        list(provenance.items()),
                    )
                ],
            ),
        ],
    )


def _list_places(days: StudyDays) -> Table:
    rows: list[Sequence[str]] = []
    for place, mean_c in zip(days.places, days.mean_c, strict=True):
        there = np.flatnonzero(~np.isnan(mean_c))
        if there.size:
            first, last = days.day[there[0]], days.day[there[-1]]
            span_d = int(there[-1] - there[0]) + 1
            height = "" if place.elevation_m is None else f"{place.elevation_m:g}"
            rows.append(
                (
                    place.name, f"{place.latitude:g}", f"{place.longitude:g}", height,
                    str(first), str(last), f"{there.size} of {span_d}",
                    str(int(np.diff(there, append=there[-1] + 1).max()) - 1),
                )
            )  # fmt: skip
    head = (
        "place", "latitude", "longitude", "height [m]", "first day", "last day",
        "days with a mean", "longest gap [d]",
    )  # fmt: skip
    return Table("What was measured where.", head, rows)


def _list_seasons(frame: Any) -> Table:
    """List what became of each window, under one rule."""
    asked = frame[frame["asked_d"] > 0]
    rows = [
        (
            name_place((one.site, one.block, one.depth_cm)),
            str(one.season),
            one.kind,
            _show_opening(one),
            _show_range(one.opened_earliest, one.opened_latest),
            "" if isnull(one.closed_on) else show_days(one.closed_not_before, one.closed_on),
            _show_range(one.closed_earliest, one.closed_latest),
            f"{one.open_d}" if one.stretches else "",
            f"{one.seen_d} of {one.asked_d}",
        )
        for one in asked.itertuples(index=False)
    ]
    head = (
        "place", "season", "window", "opened", "within errors", "closed", "within errors",
        "open [d]", "days seen",
    )  # fmt: skip
    caption = (
        f"Each season, spring opening at {show_limit(asked['spring_opens_c'].iloc[0])}. A range "
        "is that of a gap in the readings. Within errors: as far as the errors of the temperatures "
        "move it. Open: in all, where it paused as well. Days seen: of those on which it may open."
    )
    return Table(caption, head, rows)


def _show_opening(one: Any) -> str:
    if isnull(one.opened_on):
        return one.outcome
    return show_days(one.after + timedelta(days=1), one.opened_on)


def _show_range(earliest: Any, latest: Any) -> str:
    if isnull(earliest):
        return ""
    return f"{show_day(earliest)} or never" if isnull(latest) else show_days(earliest, latest)


def _list_rule(rule: WindowRule) -> Table:
    caption = (
        f"The rule {rule.name}; temperatures in °C, dates as month and day north of the equator, "
        "six months later south of it. Keys in brackets: references."
    )
    return Table(caption, ("number", "value", "origin"), list(list_rule(rule)))


def _tell_rules(variants: Sequence[Key], first_c: float) -> list[str]:
    limits_c = sorted({variant[_OPENS] for variant in variants})
    if len(limits_c) == 1:
        return []
    return [
        f"Spring was let open at {', '.join(map(show_limit, limits_c))}; ribbons, heights and the "
        f"first table are of {show_limit(first_c)}, the one that was named first."
    ]


def _list_summaries(summaries: Sequence[Summary], variant: Key) -> Table:
    told = dict(zip(VARIANT, variant, strict=True))
    caption = (
        f"{told['kind'].capitalize()}, {told['rule']}, spring opens at "
        f"{show_limit(told['spring_opens_c'])}, margin {told['margin_f']:g} °F, "
        f"mean of {told['mean_days']} days."
    )
    rows = [
        (
            name_place(one.place),
            ", ".join(f"{count} {outcome}" for outcome, count in one.counts.items()),
            show_middle(one.middle, one.south),
            show_trend(one.trend) if one.trend else "too few seasons",
        )
        for one in summaries
        if one.variant == variant
    ]
    return Table(caption, ("place", "seasons", "half by", "trend"), rows)


def _list_differences(differences: Sequence[PlaceDifference], against: str) -> list[Table]:
    rows = [
        (
            name_place(one.place),
            f"{show_limit(one.variant[_OPENS])}, {one.variant[-1]}",
            show_difference(one.difference),
            f"{one.difference.least:+.1f} to {one.difference.most:+.1f}",
        )
        for one in differences
        if one.difference
    ]
    caption = f"{tell_pairing(against)}."
    head = "place", "window", "mean difference [d]", "as far as gaps leave open [d]"
    return [Table(caption, head, rows)] if rows else []


def _tell_limits(frame: Any, summaries: Sequence[Summary]) -> Iterator[str]:
    counts = frame.loc[frame["asked_d"] > 0, "outcome"].value_counts()
    hidden = int(counts.get("not seen", 0) + counts.get("no readings", 0))
    if hidden:
        yield (
            f"In {hidden} of {int(counts.sum())} windows days are missing on which they may have "
            "opened; they count only as far as they were seen. Where gaps come of what also moves "
            "openings, such as a flood or a cold winter, the estimates are off in a way that "
            "nothing here shows."
        )
    first_days = int(((frame["asked_d"] == 1) & (frame["outcome"] == "opened")).sum())
    if first_days:
        yield (
            f"{count_text(first_days, 'window')} opened on the first day on which the rule lets "
            "them: those dates are the rule's, not the soil's, and tell no place from another."
        )
    if frame["opened_earliest"].notna().any():
        yield (
            "Errors of the temperatures are those of the sensors, and of what was carried or "
            "estimated. That a probe is not as deep as it is said to be is in none of the bounds."
        )
    if not all(one.trend for one in summaries):
        yield (
            f"Of places with fewer than {LEAST_SEASONS} openings known to the day no trend is "
            "told: no order of so few seasons can be told from chance at 5 %."
        )
    told = [one.trend.seasons for one in summaries if one.trend]
    if told and max(told) < CLIMATE_YEARS:
        yield (
            f"The longest trend is of {max(told)} seasons, those that gaps hide left out: trends "
            f"of fewer than {CLIMATE_YEARS} describe these years, and tell no climate from weather."
        )
    yield (
        "Trends of neighbouring depths and sites share their weather: that several agree is no "
        "proof by number. An opening is a date of soil temperature; whether insects were there, "
        "and where windows were closed, it does not say."
    )


def _caption(name: str) -> str:
    kind, _, site = name.partition("-")
    return _CAPTIONS[kind].format(site=site, key=_KEY)
