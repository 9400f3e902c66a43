"""A chart for tests: a spring that opens on 4 October, and what differs from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from alerts.bounds import Bounds, DateRange
from alerts.chart import BlockChart
from alerts.outlook.fan import Fan
from alerts.windows import Span
from probes.units import f_to_c

AS_OF, UNTIL = date(2025, 10, 10), date(2025, 11, 24)
DAYS = np.arange(np.datetime64("2025-07-12"), np.datetime64("2025-10-11"))
COMING = np.arange(np.datetime64("2025-10-11"), np.datetime64("2025-11-25"))


def make_chart(**changes: Any) -> BlockChart:
    """Return the chart of a block that warms from 50 to 66 °F, with an outlook of 70 +- 5 °F."""
    mean_c = f_to_c(np.linspace(50.0, 66.0, DAYS.size))
    middle_f = np.linspace(66.0, 70.0, COMING.size)
    wide_f = np.linspace(0.0, 5.0, COMING.size)
    chart = BlockChart(
        root_zone_cm=(15.0, 45.0),
        mean_days=5,
        days=DAYS,
        mean_c=mean_c,
        estimated=np.zeros(DAYS.size, bool),
        depths_c={15.0: mean_c + 1.0, 45.0: mean_c - 1.0},
        spans=[Span(2025, "spring", date(2025, 10, 4), date(2025, 9, 30), None, None)],
        bounds=[Bounds(DateRange(date(2025, 9, 30), date(2025, 10, 4)), None, False)],
        limits_c={"opens": f_to_c(64.0), "cold": f_to_c(60.0), "hot": f_to_c(86.0)},
        until=UNTIL,
        fan=Fan(COMING, f_to_c(middle_f - wide_f), f_to_c(middle_f), f_to_c(middle_f + wide_f)),
        expected=(AS_OF, date(2025, 11, 15)),
    )
    return replace(chart, **changes)
