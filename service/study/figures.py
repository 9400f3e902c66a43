"""Figures of a comparison, as Vega-Lite specifications that hold their data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from alerts.colours import DAY as INKS
from probes.units import Unit, c_to_f
from service.study.summaries import VARIANT

if TYPE_CHECKING:
    import altair as alt

WIDTH_PX = 560
KINDS = ("openings", "depths-", "elevation", "thresholds")
FORMS = ("svg", "png", "pdf")
_PIXELS = 2  # of a PNG, a point


def draw(specification: Mapping[str, Any], form: str) -> bytes:
    """Return a figure as SVG, PNG or PDF: of the same data and versions the same SVG and PNG."""
    import vl_convert

    spec = dict(specification)
    if form == "svg":
        return vl_convert.vegalite_to_svg(spec).encode()
    if form == "png":
        return vl_convert.vegalite_to_png(spec, scale=_PIXELS)
    return vl_convert.vegalite_to_pdf(spec)


def specify_figures(frame: Any, days: Any, unit: Unit) -> dict[str, Any]:
    """Return what there is to show of a comparison: a specification by name.

    Parameters
    ----------
    frame : as service.study.windows.compare gives it
    days : as service.study.windows.list_days does, of the same places

    `openings` shows each season of each place under the first rule; `depths` the temperature by
    depth and day, of sites with two depths or more; `elevation` openings against height, where
    places differ in it; `thresholds` openings against the threshold, where there are several.
    """
    named = frame.assign(place=_name(frame))
    variant = [name for name in VARIANT if name != "kind"]
    first_rule = named.merge(named[variant].head(1), on=variant)
    figures = {"openings": _specify_openings(first_rule)}
    of_depths = days[days["depth_cm"].notna()]
    layered = of_depths.groupby("site")["depth_cm"].nunique()
    for site in layered[layered > 1].index:
        of_site = of_depths[of_depths["site"] == site]
        figures[f"depths-{site}"] = _specify_depths(of_site, str(site), unit)
    if named["elevation_m"].nunique() > 1:
        figures["elevation"] = _specify_elevation(first_rule)
    if named["spring_opens_c"].nunique() > 1:
        figures["thresholds"] = _specify_thresholds(named, unit)
    return figures


def _name(frame: Any) -> Any:
    depths = frame["site"] + ", " + frame["depth_cm"].map("{:g} cm".format)
    return frame["block"].where(frame["block"] != "", depths)


def _specify_openings(frame: Any) -> dict[str, Any]:
    """Show when windows were open: a row for each place, a bar for each season."""
    import altair as alt

    shown = frame[frame["outcome"] == "opened"]
    rows = shown[["place", "season", "kind", "opened_day", "open_d", "after_day"]].assign(
        until=shown["opened_day"] + shown["open_d"], since=shown["after_day"] + 1
    )
    chart = _chart("openings")
    y = alt.Y("season:O").title(None)
    x = alt.X("opened_day:Q").title("day of the season").scale(domain=[1, 366], nice=False)
    colour = (
        alt.Color("kind:N")
        .scale(domain=["spring", "fall"], range=[INKS.clay, INKS.slate])
        .title(None)
    )
    known = chart.mark_bar(height={"band": 0.7}).encode(x, alt.X2("until"), y, colour)
    unsure = chart.mark_bar(height={"band": 0.3}, opacity=0.5).encode(
        alt.X("since:Q").title("day of the season"), alt.X2("opened_day"), y, colour
    )
    row = alt.Row("place:N").title(None).header(labelAngle=0, labelAlign="left")
    layers = alt.layer(known, unsure).properties(width=WIDTH_PX - 160, height=alt.Step(11))
    return _finish(
        layers.facet(row=row, spacing=6).resolve_scale(y="independent"), rows, "openings"
    )


def _specify_depths(days: Any, site: str, unit: Unit) -> dict[str, Any]:
    """Show the temperature by depth and day."""
    import altair as alt

    convert = c_to_f if unit == "F" else float
    rows = days.assign(temperature=days["mean_c"].map(convert).round(2))
    rows = rows.assign(day=rows["day"].dt.strftime("%Y-%m-%d"))[["day", "depth_cm", "temperature"]]
    chart = (
        _chart("depths")
        .mark_rect()
        .encode(
            alt.X("day:T").timeUnit("utcyearmonthdate").title(None),
            alt.Y("depth_cm:O").title("depth [cm]"),
            alt.Color("temperature:Q").scale(scheme="cividis").title(f"daily mean [°{unit}]"),
        )
    )
    return _finish(
        chart.properties(width=WIDTH_PX, height=alt.Step(26), title=site), rows, "depths"
    )


def _specify_elevation(frame: Any) -> dict[str, Any]:
    """Show spring openings against height above the sea."""
    import altair as alt

    shown = frame[(frame["kind"] == "spring") & (frame["outcome"] == "opened")]
    rows = shown[["place", "season", "elevation_m", "opened_day", "after_day"]].assign(
        since=shown["after_day"] + 1
    )
    chart = _chart("elevation")
    x = alt.X("elevation_m:Q").title("height above the sea [m]").scale(zero=False)
    y = alt.Y("opened_day:Q").title("opening, day of the season").scale(zero=False)
    shape = alt.Shape("season:O").title("season")
    points = chart.mark_point(color=INKS.clay, filled=True, size=50).encode(x, y, shape)
    ranges = chart.mark_rule(color=INKS.clay).encode(
        x, alt.Y("since:Q").title(None), alt.Y2("opened_day")
    )
    layers = alt.layer(ranges, points).properties(width=WIDTH_PX - 160, height=240)
    return _finish(layers, rows, "elevation")


def _specify_thresholds(frame: Any, unit: Unit) -> dict[str, Any]:
    """Show by how much openings move with the threshold, as the mean of the seasons."""
    import altair as alt

    column = f"spring_opens_{unit.lower()}"
    shown = frame[(frame["kind"] == "spring") & (frame["outcome"] == "opened")]
    rows = shown.groupby(["place", column], as_index=False).agg(
        opened_day=("opened_day", "mean"), seasons=("season", "nunique")
    )
    chart = (
        _chart("thresholds")
        .mark_line(point=True)
        .encode(
            alt.X(f"{column}:Q").title(f"spring opens at [°{unit}]").scale(zero=False),
            alt.Y("opened_day:Q").title("mean opening, day of the season").scale(zero=False),
            alt.Color("place:N").title(None).scale(scheme="tableau20"),
            alt.StrokeDash("place:N").title(None),
        )
    )
    return _finish(chart.properties(width=WIDTH_PX - 160, height=260), rows, "thresholds")


def _chart(name: str) -> alt.Chart:
    import altair as alt

    return alt.Chart(alt.NamedData(name))


def _finish(chart: Any, rows: Any, name: str) -> dict[str, Any]:
    labels = {"labelFontSize": 11, "labelColor": INKS.ink, "titleColor": INKS.ink}
    specification = (
        chart.properties(background=INKS.paper, padding=8)
        .configure(font="sans-serif")
        .configure_view(stroke=None)
        .configure_title(color=INKS.ink, anchor="start", font="serif")
        .configure_axis(grid=False, domainColor=INKS.line, tickColor=INKS.line, **labels)
        .configure_legend(**labels)
        .configure_header(**labels)
        .to_dict(validate=False)
    )
    plain = rows.astype(object).where(rows.notna(), None)
    specification["datasets"] = {name: plain.to_dict("records")}
    return specification
