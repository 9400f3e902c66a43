"""Gross range."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest

from probes.checks import GrossRange, flag_gross_range

PUBLISHED_SPANS = GrossRange(sensor_c=(10, 50), user_c=(20, 40))


@pytest.mark.parametrize(
    ("values", "flags"),
    [
        # source: [IOOS-QARTOD-TESTS] test_gross_range_check; spans (10, 50) and (20, 40)
        pytest.param(
            [5, 10, 15, 20, 25, 30, 35, 40, 45, 51],
            [4, 3, 3, 1, 1, 1, 1, 1, 3, 4],
            id="all present",
        ),
        # source: [IOOS-QARTOD-TESTS] the same with values missing
        pytest.param(
            [nan, 10, 15, 20, 25, 30, 35, 40, nan, 51],
            [9, 3, 3, 1, 1, 1, 1, 1, 9, 4],
            id="two missing",
        ),
    ],
)
def test_flags_agree_with_the_published_vectors(values, flags) -> None:
    assert flag_gross_range(np.array(values, float), PUBLISHED_SPANS).tolist() == flags


@pytest.mark.parametrize(
    ("soil_temp_c", "flag"),
    # from memory: ISMN limits -60 and 60 degC; the user span is ours
    [(-60.1, 4), (-60.0, 3), (-20.1, 3), (-20.0, 1), (45.0, 1), (45.1, 3), (60.0, 3), (60.1, 4)],
)
def test_the_ends_of_a_span_belong_to_it(soil_temp_c: float, flag: int) -> None:
    assert flag_gross_range(np.array([soil_temp_c])).tolist() == [flag]


@pytest.mark.parametrize(
    ("sensor_c", "user_c"),
    [((0, 50), (-1, 40)), ((0, 50), (0, 51)), ((0, 50), (40, 20)), ((50, 0), (50, 0))],
)
def test_a_user_span_outside_the_sensor_span_is_refused(sensor_c, user_c) -> None:
    with pytest.raises(ValueError, match="must lie inside"):
        GrossRange(sensor_c, user_c)
