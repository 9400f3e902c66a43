"""The values of digital sensors that have not measured."""

from __future__ import annotations

import pytest

from probes.checks.power_on import PowerOn, explain_power_on, flag_power_on
from probes.units import f_to_c
from tests.soil_series import series


def flags(values_c, step_h=1.0) -> list[int]:
    """Return the results of readings."""
    return flag_power_on(series(values_c, step_h), PowerOn()).tolist()


@pytest.mark.parametrize(
    ("values_c", "step_h", "result"),
    [
        # common practice, no source: 85.0 and -127.0; the 5 degC and the 6 h are ours
        pytest.param([15.0, 85.0], 1.0, 3, id="isolated"),
        pytest.param([15.0, f_to_c(185.0)], 1.0, 3, id="isolated, read in degF"),
        pytest.param([85.0], 1.0, 3, id="the first of all"),
        pytest.param([84.0, 85.0], [1.0, 7.0], 3, id="first after a gap"),
        pytest.param([15.0, 85.0, 85.0], 1.0, 3, id="a second one beside it"),
        pytest.param([84.0, 85.0], 1.0, 1, id="of something that hot"),
        pytest.param([15.0, 84.9], 1.0, 1, id="another value"),
        pytest.param([15.0, -127.0], 1.0, 4, id="disconnected"),
        pytest.param([15.0, f_to_c(-196.6)], 1.0, 4, id="disconnected, read in degF"),
    ],
)
def test_the_last_reading_is_judged(values_c, step_h, result: int) -> None:
    assert flags(values_c, step_h)[-1] == result


@pytest.mark.parametrize(
    ("values_c", "ending"),
    [
        ([15.0, 85.0], "before it has measured, and the last other reading is 15.0 °C"),
        ([85.0], "before it has measured, and there is no other reading in the 6 h before"),
        ([-127.0], "-127 °C is what a sensor that is disconnected gives"),
    ],
)
def test_the_reason_says_which_code_it_is(values_c, ending: str) -> None:
    told = explain_power_on(series(values_c), len(values_c) - 1, PowerOn())
    assert told.endswith(ending)
