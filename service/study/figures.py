"""Figures of a comparison: ribbons, and what Vega-Lite draws."""

from __future__ import annotations

import json
import re
from math import isnan
from typing import TYPE_CHECKING, Any

from alerts.colours import DAY as INKS
from probes.units import Unit, c_to_f
from service.pictures import on_paper
from service.study.report import Drawn, Found
from service.study.ribbons import draw_sites
from service.study.words import instant_of

if TYPE_CHECKING:
    import altair as alt

WIDTH_PX = 560
KINDS = ("ribbons-", "depths-", "elevation", "thresholds")
FORMS = ("svg", "png", "pdf")
_TOLD_APART = "#000000", "#e69f00", "#56b4e9", "#009e73", "#0072b2", "#d55e00", "#cc79a7"
"""Colours that people tell apart who do not see all of them: [OKABE-ITO]."""
_DASHES = [1, 0], [6, 3], [2, 2], [8, 2, 2, 2], [4, 4], [10, 4], [1, 3], [6, 2, 1, 2, 1, 2]
_PIXELS = 2  # of a PNG, a point
_PDF_ENTRIES = rb"(?:[ ]+/[\w.]+ \d+ 0 R\n)+"


def convert(svg: str, form: str) -> bytes:
    """Return a figure as SVG, PNG or PDF: of the same SVG and versions the same bytes."""
    import vl_convert

    if form == "svg":
        return svg.encode()
    if form == "png":
        return vl_convert.svg_to_png(svg, scale=_PIXELS)
    # it lists what a page is made of in any order: of one font it is but that; sorted, it is none
    return re.sub(
        _PDF_ENTRIES,
        lambda entries: b"".join(sorted(entries[0].splitlines(keepends=True))),
        vl_convert.svg_to_pdf(svg),
    )


def draw_figures(found: Found, days: Any, unit: Unit) -> list[Drawn]:
    """Return what there is to show of a comparison.

    days : as service.study.windows.list_days gives them, of the same places

    `ribbons` shows the seasons of the places of each site under the first rule; `depths` the
    temperature by depth and day, of sites with two depths or more; `elevation` openings against
    height, where places differ in it; `thresholds` openings against the threshold, where there are
    several.
    """
    import vl_convert

    drawn = [
        Drawn("ribbons", site, on_paper(svg, WIDTH_PX), part)
        for site, part, svg in draw_sites(found.days, found.rules[0], found.as_of)
    ]
    specified: dict[tuple[str, str], Any] = {}
    of_depths = days[days["depth_cm"].notna()]
    layered = of_depths.groupby("site")["depth_cm"].nunique()
    for site in layered[layered > 1].index:
        of_site = of_depths[of_depths["site"] == site]
        specified["depths", str(site)] = _specify_depths(of_site, str(site), unit)
    first = _take_springs(found.take_first())
    if first["elevation_m"].nunique() > 1:
        specified["elevation", ""] = _specify_elevation(first)
    of_limits = _take_springs(found.take_first(any_limit=True))
    if of_limits["spring_opens_c"].nunique() > 1:
        specified["thresholds", ""] = _specify_thresholds(of_limits, unit)
    drawn += [Drawn(*of, vl_convert.vegalite_to_svg(one)) for of, one in specified.items()]
    return drawn


def _take_springs(frame: Any) -> Any:
    """Return the springs that opened, with the name of their place."""
    opened = frame[(frame["kind"] == "spring") & (frame["outcome"] == "opened")]
    cm = opened["depth_cm"].map("{:g} cm".format).astype("str")  # also where none opened
    depths = opened["site"] + ", " + cm
    return opened.assign(place=opened["block"].where(opened["block"] != "", depths))


def _date(frame: Any, column: str) -> list[str | None]:
    """Return days of the season as instants of one and the same year."""
    return [
        None if isnan(number) else f"{instant_of(number, latitude < 0):%Y-%m-%dT%H:%MZ}"
        for number, latitude in zip(frame[column], frame["latitude"], strict=True)
    ]


def _specify_depths(days: Any, site: str, unit: Unit) -> dict[str, Any]:
    """Show the temperature by depth and day."""
    import altair as alt

    convert = c_to_f if unit == "F" else float
    rows = days.assign(temperature=days["mean_c"].map(convert).round(2))
    rows = rows.assign(day=rows["day"].dt.strftime("%Y-%m-%d"))[["day", "depth_cm", "temperature"]]
    scale, mean = alt.Scale(scheme="cividis"), f"mean [°{unit}]"
    chart = (
        _chart("depths")
        .mark_rect(strokeWidth=0.5)  # or what lies behind shows between days
        .encode(
            alt.X("day:T").timeUnit("utcyearmonthdate").title(None).axis(format="%b %Y"),
            alt.Y("depth_cm:O").title("depth [cm]"),
            alt.Fill("temperature:Q").scale(scale).title(mean),
            alt.Stroke("temperature:Q").scale(scale).title(mean),
        )
    )
    return _finish(
        chart.properties(width=WIDTH_PX - 80, height=alt.Step(26), title=site), rows, "depths"
    )


def _specify_elevation(frame: Any) -> dict[str, Any]:
    """Show openings against height above the sea."""
    import altair as alt

    rows = frame[["place", "season", "elevation_m"]].assign(
        opened=_date(frame, "opened_day"),
        since=_date(frame.assign(since=frame["after_day"] + 1), "since"),
    )
    chart = _chart("elevation")
    x = alt.X("elevation_m:Q").title("height above the sea [m]").scale(zero=False)
    y = _by_date("opened").title("opening")
    shape = alt.Shape("season:O").title("season")
    points = chart.mark_point(color=INKS.clay, filled=True, size=50).encode(x, y, shape)
    ranges = chart.mark_rule(color=INKS.clay).encode(x, _by_date("since"), alt.Y2("opened"))
    layers = alt.layer(ranges, points).properties(width=WIDTH_PX - 160, height=240)
    return _finish(layers, rows, "elevation")


def _specify_thresholds(frame: Any, unit: Unit) -> dict[str, Any]:
    """Show by how much openings move with the threshold, in seasons known to the day at each."""
    import altair as alt

    column = f"spring_opens_{unit.lower()}"
    known = frame[frame["opened_day"] == frame["after_day"] + 1]
    limits = known.groupby(["place", "season"])[column].transform("nunique")
    rows = (
        known[limits == frame[column].nunique()]
        .groupby(["site", "place", "latitude", column], as_index=False, sort=False)
        .agg(opened_day=("opened_day", "mean"), seasons=("season", "nunique"))
    )
    rows = rows.assign(
        opened=_date(rows, "opened_day"),
        place=rows["place"] + ", n = " + rows["seasons"].astype(str),
    )
    limit = alt.X(f"{column}:Q").title(f"spring opens at [°{unit}]").scale(zero=False)
    of_place = alt.Legend(title=None, symbolType="stroke", symbolSize=600)
    charts = [
        _chart("thresholds")
        .transform_filter(f"datum.site == {json.dumps(site)}")
        .mark_line(point=True)
        .encode(
            limit.axis(values=sorted(rows[column].unique().tolist())),
            _by_date("opened").title("mean opening"),
            alt.Color("place:N", sort=None, legend=of_place).scale(range=_TOLD_APART),
            alt.StrokeDash("place:N", sort=None, legend=of_place).scale(range=_DASHES),
        )
        .properties(width=WIDTH_PX - 180, height=200)
        for site in rows["site"].unique().tolist()
    ]
    together = alt.vconcat(*charts).resolve_scale(color="independent", strokeDash="independent")
    return _finish(together, rows, "thresholds")


def _by_date(column: str) -> alt.Y:
    import altair as alt

    axis = alt.Axis(format="%-d %b")
    return alt.Y(f"{column}:T", axis=axis, scale=alt.Scale(type="utc", nice=False))


def _chart(name: str) -> alt.Chart:
    import altair as alt

    return alt.Chart(alt.NamedData(name))


def _finish(chart: Any, rows: Any, name: str) -> dict[str, Any]:
    labels = {
        "labelFontSize": 11, "labelColor": INKS.ink, "titleColor": INKS.ink,
        "titleFontWeight": "normal",
    }  # fmt: skip
    specification = (
        chart.properties(background=INKS.paper, padding=8)
        .configure(font="sans-serif")
        .configure_view(stroke=None)
        .configure_title(color=INKS.ink, anchor="start", fontWeight="normal")  # one font: as above
        .configure_axis(grid=False, domainColor=INKS.line, tickColor=INKS.line, **labels)
        .configure_legend(**labels)
        .to_dict(validate=False)
    )
    plain = rows.astype(object).where(rows.notna(), None)
    specification["datasets"] = {name: plain.to_dict("records")}
    return specification
