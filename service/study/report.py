"""What a comparison found, as a report that a researcher can hand in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from alerts.rules import ORIGINS, WindowRule
from alerts.study.estimates import LEAST_SEASONS
from service.pictures import colours_css
from service.showing import count_text
from service.study.summaries import PLACE, VARIANT, Key, PlaceDifference, Summary
from service.study.words import name_place, show_difference, show_middle, show_trend

_CAPTIONS = {
    "openings": "Windows by season, thin where a gap in the readings leaves the opening unknown.",
    "depths": "Daily mean temperature by depth at {site}.",
    "elevation": "Spring openings against height above the sea.",
    "thresholds": "Spring openings against the threshold, as the mean of the seasons that opened.",
}


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
    frame: Any,
    rules: Sequence[WindowRule],
    summaries: Sequence[Summary],
    differences: Sequence[PlaceDifference],
    svgs: Mapping[str, str],
    provenance: Mapping[str, str],
) -> Report:
    """Return the report of a comparison.

    Parameters
    ----------
    frame : as service.study.windows.compare gives it, with rows
    svgs : figures by name, as service.study.figures names them
    provenance : what it was made of and by, in the order in which it is told
    """
    seasons = frame["season"]
    places = frame[PLACE].drop_duplicates()
    span = f"{seasons.min()} to {seasons.max()}"
    title = f"Openings of {count_text(len(places), 'place')}, {span}"
    variants = list(dict.fromkeys(one.variant for one in summaries))
    return Report(
        title,
        [
            Section("Methods", _tell_methods(frame), [_list_rule(rule) for rule in rules[:1]]),
            Section(
                "Results",
                _tell_rules(variants),
                [
                    *(_list_summaries(summaries, variant) for variant in variants),
                    *_list_differences(differences),
                ],
                [Figure(_caption(name), svg) for name, svg in svgs.items()],
            ),
            Section("What these data cannot say", list(_tell_limits(frame, summaries))),
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


def _tell_methods(frame: Any) -> list[str]:
    return [
        f"Soil temperatures at {frame['site'].nunique()} sites were averaged by day of local "
        "standard time. A day counts with three quarters of its hours and no gap of more than "
        "three. A window opens by the trailing mean of such days, as the rule below says; seasons "
        "run from 1 January north and from 1 July south of the equator.",
        "An opening that missing days hide is known between two days, and a season without one to "
        "the last day up to which all was seen. The day by which half of the seasons have opened "
        "is from Turnbull's estimate for events known between two points, which counts both. "
        "Trends are slopes by Theil and Sen, tested by the order of seasons after Mann and "
        f"Kendall, over openings known to the day, {LEAST_SEASONS} or more. Depths are compared "
        "within seasons, with Student's interval of the mean difference.",
    ]


def _list_rule(rule: WindowRule) -> Table:
    rows = [
        (one.name, _show_number(getattr(rule, one.name)), ORIGINS.get(one.name, ""))
        for one in fields(rule)
        if one.name not in ("name", "tolerance_c") and not one.name.startswith("degree_days")
    ]
    caption = (
        f"The rule {rule.name}; temperatures in °C, dates as month and day north of the equator. "
        "Keys in brackets: tests/SOURCES.md of Digseason."
    )
    return Table(caption, ("number", "value", "origin"), rows)


def _show_number(value: Any) -> str:
    if isinstance(value, tuple):
        return "-".join(map(str, value)) if isinstance(value[0], int) else ", ".join(value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _tell_rules(variants: Sequence[Key]) -> list[str]:
    limits = sorted({variant[VARIANT.index("spring_opens_f")] for variant in variants})
    shown = ", ".join(f"{limit:g} °F" for limit in limits)
    return [f"Spring opens at {shown}."] if len(limits) > 1 else []


def _list_summaries(summaries: Sequence[Summary], variant: Key) -> Table:
    told = dict(zip(VARIANT, variant, strict=True))
    caption = (
        f"{told['kind'].capitalize()}, {told['rule']}, spring opens at "
        f"{told['spring_opens_f']:g} °F, margin {told['margin_f']:g} °F, "
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


def _list_differences(differences: Sequence[PlaceDifference]) -> list[Table]:
    rows = [
        (
            name_place(one.place),
            f"{one.variant[VARIANT.index('spring_opens_f')]:g} °F, {one.variant[-1]}",
            show_difference(one.difference),
            f"{one.difference.least:+.1f} to {one.difference.most:+.1f}",
        )
        for one in differences
        if one.difference
    ]
    caption = "Against the shallowest depth of the site, in the same seasons; later is positive."
    head = "depth", "window", "mean difference [d]", "as far as gaps leave open [d]"
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
    if not all(one.trend for one in summaries):
        yield (
            f"Of places with fewer than {LEAST_SEASONS} openings known to the day no trend is "
            "told: no order of so few seasons can be told from chance at 5 %."
        )
    yield (
        "Trends of neighbouring depths and sites share their weather: that several agree is no "
        "proof by number. An opening is a date of soil temperature; whether insects were there, "
        "and where windows were closed, it does not say."
    )


def _caption(name: str) -> str:
    kind, _, site = name.partition("-")
    return _CAPTIONS[kind].format(site=site)
