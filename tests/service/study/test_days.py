"""Rows of daily means to series of depths, by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import pyarrow as pa
import pytest

from service.study.days import gather

DAY = [date(2025, 4, day) for day in (1, 1, 2, 2, 4)]


def test_a_day_of_a_depth_is_the_mean_of_its_probes_with_a_complete_one() -> None:
    rows = pa.table(
        {
            "day": DAY,
            "depth_cm": [30.0, 30.0, 30.0, 30.0, 45.0],
            "mean_c": [10.0, 12.0, 14.0, 99.0, 8.0],
            "error_c": [None, 0.6, None, None, None],
            "complete": [True, True, True, False, True],
        }
    )
    found = gather("upper", (45.1, 0.0, None), [rows], (), 0.2)
    assert [place.depth_cm for place in found.places] == [30, 45]
    assert found.day.tolist() == [date(2025, 4, day) for day in (1, 2, 3, 4)]
    nan = np.nan
    assert found.mean_c == pytest.approx(
        np.array([[11, 14, nan, nan], [nan, nan, nan, 8]]), nan_ok=True
    )
    assert found.error_c[0, :2] == pytest.approx([0.4, 0.2])
    only = gather("upper", (45.1, 0.0, None), [rows], [45], 0.2)
    assert [place.depth_cm for place in only.places] == [45]
