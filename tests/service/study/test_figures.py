"""Figures of a comparison say what their colours mean."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pyarrow as pa

from alerts.rules import GRAPE_PHYLLOXERA
from service.study.days import gather
from service.study.figures import draw_figures
from service.study.report import Found
from service.study.windows import compare, list_days


def test_temperatures_by_depth_stand_beside_the_scale_of_their_colours() -> None:
    last = date(2025, 4, 30)
    each = [(last - timedelta(days=back), depth_cm) for back in range(20) for depth_cm in (30, 60)]
    rows = pa.table(
        {
            "day": [day for day, _ in each],
            "depth_cm": [float(depth_cm) for _, depth_cm in each],
            "mean_c": [day.day / 2 for day, _ in each],  # 5.5 to 15 °C: 42 to 59 °F
            "error_c": [0.2] * len(each),
            "complete": [True] * len(each),
        }
    )
    days = gather("upper", (45.1, 0.0, None), [rows], (), 0.2)
    frame = compare(days, [GRAPE_PHYLLOXERA], last)
    drawn = draw_figures(Found(days, frame, [GRAPE_PHYLLOXERA], last, {}), list_days(days), "F")
    [depths] = [one.svg for one in drawn if one.kind == "depths"]
    texts = re.findall(r"<text[^>]*>([^<]*)</text>", depths)
    assert "mean [°F]" in texts
    assert {"45", "50", "55"} <= {*texts}
