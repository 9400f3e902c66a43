"""The share of blocks that were open over a season, drawn: a curve for each district."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
from babel.dates import get_month_names

from alerts.colours import DAY as INKS
from alerts.figures import locale_of
from alerts.region.shares import Shares
from alerts.words import translations
from service.charts.drawn import make_time_locale
from service.charts.rows import to_ms
from service.pictures import show_by_night

WIDTH_PX, HEIGHT_PX = 310, 56


def draw_share_svg(shares: Shares, language: str) -> str:
    """Return a chart as an SVG file for light and dark."""
    import vl_convert

    svg = vl_convert.vegalite_to_svg(
        specify_shares(shares, language), time_format_locale=make_time_locale(_months(language))
    )
    return show_by_night(svg, {})


def specify_shares(shares: Shares, language: str) -> dict[str, Any]:
    """Return a chart as a Vega-Lite specification that holds its data: a row for each district."""
    import altair as alt

    days: list[date] = shares.days.tolist()
    rows = [
        {"district": name, "day": to_ms(day), "share": None if np.isnan(share) else float(share)}
        for name, of_days in _named(shares, language).items()
        for day, share in zip(days, of_days.tolist(), strict=True)
    ]
    ends = [to_ms(days[0]), to_ms(days[-1])]
    months = [to_ms(day) for day in days if day.day == 1]
    x = alt.X("day:T").scale(type="utc", domain=ends).title(None)
    y = alt.Y("share:Q").scale(domain=[0, 1]).title(None).axis(format="%", values=[0, 0.5, 1])
    area = alt.Chart(alt.NamedData("shares")).mark_area(
        color=INKS.clay, opacity=0.35, interpolate="step-after",
        line={"color": INKS.clay, "strokeWidth": 1.5, "interpolate": "step-after"},
    )  # fmt: skip
    of_days = area.encode(x.axis(values=months, format="%b", labelFlush=False), y)
    labels = {"labelFontSize": 12, "labelColor": INKS.ink}
    specification = (
        of_days.properties(width=WIDTH_PX, height=HEIGHT_PX)
        .facet(
            row=alt.Row("district:N", sort=list(_named(shares, language)))
            .header(labelAngle=0, labelAnchor="start", labelOrient="top", **labels)
            .title(None)
        )
        .properties(background=INKS.paper, padding=8)
        .configure(font="sans-serif")
        .configure_view(stroke=INKS.line)
        .configure_axis(grid=False, domainColor=INKS.line, tickColor=INKS.line, **labels)
        .to_dict(validate=False)
    )
    specification["datasets"] = {"shares": rows}
    return specification


def _named(shares: Shares, language: str) -> dict[str, Any]:
    """Return the shares by what stands above them: the district and its number of blocks."""
    words = translations(language)
    return {
        words.ngettext("{district}: {count} block", "{district}: {count} blocks", count).format(
            district=name or words.gettext("Elsewhere"), count=count
        ): shares.open[name]
        for name, count in shares.blocks.items()
    }


def _months(language: str) -> list[str]:
    return list(get_month_names("abbreviated", locale=locale_of(language)).values())
