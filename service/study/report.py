"""What a comparison found, as a report that a researcher can hand in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from alerts.rules import WindowRule
from alerts.study.estimates import LEAST_SEASONS
from probes.units import delta_c_to_f
from service.pictures import colours_css
from service.showing import count_text
from service.study.days import StudyDays
from service.study.methods import REFERENCES, show_limit, tell_methods
from service.study.summaries import (
    PLACE,
    VARIANT,
    Key,
    Summary,
    find_differences,
    pair_places,
    summarise,
)
from service.study.tables import (
    Table,
    list_differences,
    list_places,
    list_seasons,
    list_summaries,
    show_rule,
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
    "depths": "Daily mean temperature by depth at {site}; depths are not to scale, and blank is a "
    "day that does not count.",
    "elevation": "Spring openings against height above the sea; a line is what a gap leaves open.",
    "thresholds": "Spring openings against the threshold: the mean of those n seasons whose "
    "opening is known to the day at every one of them.",
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
class Drawn:
    """A figure that was drawn.

    kind : "ribbons", "depths", "elevation" or "thresholds"
    site : of the former two; else empty
    part : of ribbons that are too many for a page, 1 being the first
    """

    kind: str
    site: str
    svg: str
    part: int = 1

    @property
    def name(self) -> str:
        """Return what its files are called."""
        part = str(self.part) if self.part > 1 else ""
        return "-".join(filter(None, [self.kind, self.site, part]))


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
    about: str
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
    found: Found, note: str, drawn: Sequence[Drawn], provenance: Mapping[str, str]
) -> Report:
    """Return the report of a comparison.

    Parameters
    ----------
    note : where the data are from, in paragraphs
    provenance : what it was made of and by, in the order in which it is told
    """
    frame, first = found.frame, found.take_first()
    summaries = list(summarise(frame))
    differences = list(find_differences(frame, pair_places(frame, found.against)))
    seasons = frame["season"]
    places = frame[PLACE].drop_duplicates()
    span = f"{seasons.min()} to {seasons.max()}"
    title = f"When dig season opens: {count_text(len(places), 'place')}, {span}"
    variants = list(dict.fromkeys(one.variant for one in summaries))
    return Report(
        title,
        "A window is a part of spring or fall in which, by a rule on the temperature of the soil, "
        "vine roots are dug to look for grape phylloxera. Here is when windows opened and closed, "
        "by place, depth, season and threshold, how far missing days and errors leave that open, "
        f"and what the data cannot say. Days up to {found.as_of} count.",
        [
            Section(
                "Data",
                [" ".join(one.split()) for one in note.split("\n\n") if one.strip()],
                [list_places(found.days)],
            ),
            Section(
                "Methods",
                list(tell_methods(frame, found.asked["accuracy of sensors"])),
                [show_rule(found.rules[0])],
            ),
            Section(
                "Results",
                [_sum_up(first), *_tell_rules(variants, found.rules[0].spring_opens_c)],
                [
                    list_seasons(first),
                    *list_summaries(summaries),
                    *list_differences(differences, found.against),
                ],
                [Figure(_caption(one), one.svg) for one in drawn],
            ),
            Section("What these data cannot say", list(_tell_limits(first, summaries))),
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


def _tell_rules(variants: Sequence[Key], first_c: float) -> list[str]:
    limits_c = sorted({variant[_OPENS] for variant in variants})
    if len(limits_c) == 1:
        return []
    return [
        f"Spring was let open at {', '.join(map(show_limit, limits_c))}; ribbons, heights and the "
        f"first table are of {show_limit(first_c)}, the one that was named first."
    ]


def _sum_up(frame: Any) -> str:
    """Say what became of windows, under one rule."""
    counts = frame.loc[frame["asked_d"] > 0, "outcome"].value_counts()
    known = int((frame["opened_day"] == frame["after_day"] + 1).sum())
    told = [
        f"{count} opened, {known} of them on a day that is known" * (outcome == "opened")
        or f"{count} {outcome}"
        for outcome, count in counts.items()
        if count
    ]
    return f"Of {count_text(int(counts.sum()), 'window')}: {'; '.join(told)}."


def _tell_limits(frame: Any, summaries: Sequence[Summary]) -> Iterator[str]:
    """Yield what cannot be told, in paragraphs; numbers of windows are those under one rule."""
    counts = frame.loc[frame["asked_d"] > 0, "outcome"].value_counts()
    unseen = int(counts.get("not seen", 0) + counts.get("no readings", 0))
    hidden = int((frame["opened_day"] > frame["after_day"] + 1).sum())
    if unseen or hidden:
        yield (
            f"Of {int(counts.sum())} windows gaps hide {unseen} openings altogether and leave "
            f"{hidden} between two days. These count only as far as they were seen: in the middle "
            "of seasons, not in trends nor in mean differences. Where gaps come of what also moves "
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


def _caption(drawn: Drawn) -> str:
    site = drawn.site + f", part {drawn.part}" * (drawn.part > 1)
    return _CAPTIONS[drawn.kind].format(site=site, key=_KEY)
