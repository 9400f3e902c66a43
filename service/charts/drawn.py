"""The chart of a block, drawn: one declarative specification for mail, page and print."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from alerts.chart import BlockChart, ChartWords
from alerts.colours import DAY as INKS
from alerts.colours import STRAW
from probes.units import Unit, from_c
from service.charts.rows import WIDTH_PX, find_limits_c, find_rows, to_ms
from service.pictures import show_by_night

if TYPE_CHECKING:  # they take a second to import, and few commands draw
    import altair as alt

HEIGHT_PX = 220
"""Of the plot without its axes: with them it is as wide as a phone, so that it is not shrunk."""
SCALE = 2
COLOURS = 64  # of the picture: an eighth of the bytes, and no difference to be seen
Side = Literal["left", "right"]
LEGENDS = {"top": {"anchor": "start", "direction": "vertical", "margin": 2}}
BY_DAY = (0x85, 0x98, 0xA9), (0x2C, 0x39, 0x45)
BY_NIGHT = (0x6B, 0x7D, 0x8D), (0xD5, 0xDF, 0xE8)
"""Depths from shallow to deep: the deep ones stand out."""
_ROOM = 0.07  # above and below the curves, of their range


def draw_png(chart: BlockChart, words: ChartWords, unit: Unit) -> bytes:
    """Return a chart as a PNG of twice its size on a page.

    Raises
    ------
    ValueError
        When it cannot be drawn.
    """
    import vl_convert
    from PIL import Image

    png = vl_convert.vegalite_to_png(
        specify(chart, words, unit), scale=SCALE, time_format_locale=make_time_locale(words.months)
    )
    with Image.open(BytesIO(png)) as picture, BytesIO() as file:
        few = picture.convert("RGB").quantize(COLOURS, Image.Quantize.FASTOCTREE)
        few.save(file, "PNG", optimize=True)
        return file.getvalue()


def draw_svg(chart: BlockChart, words: ChartWords, unit: Unit) -> str:
    """Return a chart as an SVG file for light and dark; ValueError when it cannot be drawn."""
    import vl_convert

    svg = vl_convert.vegalite_to_svg(
        specify(chart, words, unit), time_format_locale=make_time_locale(words.months)
    )
    return show_by_night(svg, shades_by_night(len(words.depths)))


def shades_by_night(count: int) -> dict[str, str]:
    """Return what the colours of so many depths are by night."""
    return dict(zip(_shades(count), _shades(count, BY_NIGHT), strict=True))


def specify(chart: BlockChart, words: ChartWords, unit: Unit) -> dict[str, Any]:
    """Return a chart as a Vega-Lite specification that holds its data."""
    frame = _Frame(
        unit=unit,
        first=chart.days[0].item(),
        until=chart.until,
        depths=tuple(words.depths),
        lines=(words.root_zone, *([words.estimated] if chart.estimated.any() else [])),
        falls=chart.is_empty or (chart.fan is not None and not chart.fan.rises),
    )
    text = _write_frame(frame)
    for of_axis in get_args(Unit):
        ends = [from_c(end_c, of_axis) for end_c in _find_range(chart)]
        text = text.replace(json.dumps(_ends_of(of_axis)), json.dumps(ends))
    return json.loads(text) | {"datasets": find_rows(chart, words, unit)}


@dataclass(frozen=True)
class _Frame:
    """What is alike in the charts of many blocks: all but the data and the ends of the axes."""

    unit: Unit
    first: date
    until: date
    depths: tuple[str, ...]
    lines: tuple[str, ...]
    falls: bool


@lru_cache(256)  # Altair takes much longer for it than Vega for a whole picture
def _write_frame(frame: _Frame) -> str:
    """Return its specification as JSON, in which `_ends_of` stand for the ends of the axes."""
    import altair as alt

    other: Unit = "C" if frame.unit == "F" else "F"
    here = alt.layer(*_layers(frame, _y(frame.unit, "left")))
    there = _named("nothing").mark_point(opacity=0).encode(_y(other, "right"))
    labels = {"labelFontSize": 13, "labelColor": INKS.ink}
    specification = (
        alt.layer(here.resolve_scale(color="independent", strokeDash="independent"), there)
        .resolve_scale(y="independent")
        .properties(width=WIDTH_PX, height=HEIGHT_PX, background=INKS.paper, padding=8)
        .configure(font="sans-serif")
        .configure_view(stroke=None)
        .configure_text(fontSize=12.5, color=INKS.ink)
        .configure_axis(grid=False, domainColor=INKS.line, tickColor=INKS.line, **labels)
        .configure_legend(
            orient="top",
            offset=24,
            symbolType="stroke",
            symbolStrokeWidth=2.5,
            symbolSize=260,
            labelLimit=WIDTH_PX,
            columnPadding=14,
            **labels,
        )
        .to_dict(validate=False)
    )
    specification["config"]["legend"]["layout"] = LEGENDS  # which Altair's schema does not know
    return json.dumps(specification)


def _ends_of(unit: Unit) -> str:
    return f"ends in °{unit}"


def _layers(frame: _Frame, y: alt.Y) -> list[alt.Chart]:
    """Return everything within the plot, the hindmost first."""
    import altair as alt

    first, until = frame.first, frame.until
    x = alt.X("day:T").scale(type="utc", domain=[to_ms(first), to_ms(until)]).title(None)
    x = x.axis(tickCount={"interval": "month", "step": 1}, format="%b", labelFlush=False)
    spans, limits, fan, today = map(_named, ("spans", "limits", "fan", "today"))
    shade = alt.Opacity("shade:Q").scale(None)
    depths, lines = list(frame.depths), list(frame.lines)
    thin = _named("depths").mark_line(strokeWidth=1.2)
    thin = thin.encode(x, y, _colours(depths, _shades(len(depths)), 4))
    thick = _colours(lines, [INKS.clay] * len(lines), 1)
    dash = alt.StrokeDash("name:N").scale(domain=lines, range=[[1, 0], [5, 3]]).title(None)
    middle = fan.mark_line(color=INKS.clay, strokeDash=[2, 3], strokeWidth=1.5, clip=True)
    return [
        spans.mark_rect(color=STRAW, clip=True).encode(x, x2="end:T", opacity=shade),
        fan.mark_area(color=INKS.clay, opacity=0.22, clip=True).encode(
            x, alt.Y("low:Q"), alt.Y2("high:Q")
        ),
        limits.mark_rule(color=INKS.ink, strokeWidth=0.7).encode(alt.Y("temp:Q")),
        *([thin] if depths else []),
        _named("root zone").mark_line(strokeWidth=3).encode(x, y, thick, dash.legend(columns=1)),
        middle.encode(x, alt.Y("middle:Q")),
        today.mark_rule(color=INKS.ink, strokeWidth=0.7, strokeDash=[2, 2]).encode(x),
        *_words(x, frame.falls),
    ]


def _words(x: alt.X, falls: bool) -> list[alt.Chart]:
    """Return what is written within the plot, where curves that fall, or rise, leave room."""
    import altair as alt

    top, right = alt.value(0), alt.value(WIDTH_PX)
    end = alt.value(0) if falls else right
    spans, limits, today, outlook = map(_named, ("spans", "limits", "today", "outlook"))
    limit = {"align": "left", "dx": 3} if falls else {"align": "right", "dx": -3}
    halo = {"stroke": INKS.paper, "strokeWidth": 3, "strokeOpacity": 0.7}
    above = limits.transform_filter("!datum.below"), {**limit, "baseline": "bottom", "dy": -2}
    below = limits.transform_filter("datum.below"), {**limit, "baseline": "top", "dy": 3}
    of_limits = [
        side.mark_text(**place, **around).encode(alt.Y("temp:Q"), x=end, text="word:N")
        for side, place in (above, below)
        for around in (halo, {})
    ]
    beside = alt.value(26 if falls else HEIGHT_PX - 14)
    of_outlook = outlook.mark_text(align="right", dx=-4, color=INKS.clay)
    of_spans = spans.mark_text(align="left", baseline="top", dx=4, dy=3)
    of_today = today.mark_text(baseline="bottom", dy=-4)
    return [
        *of_limits,
        of_outlook.encode(x=right, y=beside, text="word:N"),
        of_spans.encode(x, y=top, text="word:N"),
        of_today.encode(x, y=top, text="word:N"),
    ]


def _named(data: str) -> alt.Chart:
    """Return a chart of data that is put in at the end: Altair copies all it holds many times."""
    import altair as alt

    return alt.Chart(alt.NamedData(data))


def _y(unit: Unit, side: Side) -> alt.Y:
    """Return an axis of one unit; both have the same ends, so that they go together."""
    import altair as alt

    return (
        alt.Y("temp:Q")
        .scale(domain=_ends_of(unit), zero=False, nice=False)
        .axis(
            title=f"°{unit}",
            orient=side,
            titleX=-22 if side == "left" else 22,
            titleY=-7,
            titleAngle=0,
            titleFontSize=13,
            titleFontWeight="normal",
            titleColor=INKS.ink,
            tickCount=6,
        )
    )


def _colours(names: list[str], colours: list[str], columns: int) -> alt.Color:
    import altair as alt

    scale = alt.Scale(domain=names, range=colours)
    return alt.Color("name:N", scale=scale, legend=alt.Legend(columns=columns, title=None))


def _shades(count: int, ends: tuple[Sequence[int], Sequence[int]] = BY_DAY) -> list[str]:
    """Return colours from that of the shallowest depth to that of the deepest."""
    steps = np.linspace(0, 1, count) if count > 1 else np.array([0.5] * count)
    shallow, deep = map(np.array, ends)
    mixed = [shallow * (1 - step) + deep * step for step in steps]
    return ["#" + "".join(f"{round(part):02x}" for part in colour) for colour in mixed]


def _find_range(chart: BlockChart) -> tuple[float, float]:
    """Return between which temperatures everything lies, with some room."""
    shown_c = [chart.mean_c, *chart.depths_c.values(), np.array([*find_limits_c(chart).values()])]
    if chart.fan:
        shown_c += [chart.fan.low_c, chart.fan.high_c]
    all_c = np.concatenate(shown_c)
    low_c, high_c = float(np.nanmin(all_c)), float(np.nanmax(all_c))
    room_c = _ROOM * (high_c - low_c)
    return low_c - room_c, high_c + room_c


def make_time_locale(months: Sequence[str]) -> Any:
    """Return how times are written; only the months occur."""
    days = list("1234567")
    return {
        **dict.fromkeys(("dateTime", "date", "time"), "%Y-%m-%d"),
        "periods": ["", ""],
        "days": days,
        "shortDays": days,
        "months": list(months),
        "shortMonths": list(months),
    }
