"""The chart of a block in a browser: what its day was is said where one points."""

from __future__ import annotations

import json
from typing import Any

from alerts.chart import BlockChart, tell_days, word_chart
from alerts.colours import DAY as INKS
from alerts.lines import bind_numbers
from probes.units import Unit
from service.charts.drawn import make_time_locale, shades_by_night, specify
from service.charts.rows import to_ms
from service.pictures import find_night_colours

HALF_DAY_MS = 43_200_000


def embed(chart: BlockChart, language: str, unit: Unit, by_night: bool) -> dict[str, Any]:
    """Return a Vega-Lite specification that holds its data, and how months are written in it."""
    words = word_chart(chart, language, unit)
    specification = specify(chart, words, unit)
    specification["datasets"]["days"] = [
        {
            "begin": to_ms(day) - HALF_DAY_MS,
            "end": to_ms(day) + HALF_DAY_MS,
            "said": bind_numbers(said),
        }
        for day, said in tell_days(chart, words, language, unit)
    ]
    plot = specification["layer"][0]["layer"]
    x = next(one["encoding"]["x"] for one in plot if "axis" in one.get("encoding", {}).get("x", {}))
    plot.append(_point(x))
    text = json.dumps(specification)
    if by_night:
        for by_day, night in find_night_colours(shades_by_night(len(words.depths))).items():
            text = text.replace(by_day, night)
    return {
        "specification": json.loads(text),
        "timeFormatLocale": make_time_locale(words.months),
    }


def _point(x: dict[str, Any]) -> dict[str, Any]:
    """Return the layer of bands, one a day, that say what they are and darken where one points."""
    pointed = {"type": "point", "on": "pointerover", "clear": "pointerout"}
    shade = {"condition": {"param": "pointed", "empty": False, "value": 0.15}, "value": 0}
    return {
        "data": {"name": "days"},
        "params": [{"name": "pointed", "select": pointed}],
        "mark": {"type": "rect", "color": INKS.ink, "clip": True},
        "encoding": {
            "x": {**x, "field": "begin"},
            "x2": {"field": "end"},
            "opacity": shade,
            "tooltip": {"field": "said", "type": "nominal"},
        },
    }
