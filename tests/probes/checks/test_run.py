"""All checks together, and their reasons."""

from __future__ import annotations

import numpy as np
import pytest

from probes.checks import TESTS, ProbeSeries, check_logger, explain, roll_up, unpack
from tests.soil_series import series, wave

EMPTY = series([])


def last(values_c, **fields) -> dict[str, int]:
    """Return the result of each test of the last reading."""
    code = check_logger([series(values_c, **fields)])[0]
    return {test: int(flag[-1]) for test, flag in unpack(code).items()}


def test_no_probes_and_no_readings_are_no_fault() -> None:
    assert (check_logger([]), [code.tolist() for code in check_logger([EMPTY])]) == ([], [[]])


def test_an_empty_probe_beside_another_is_no_fault() -> None:
    empty, one = check_logger([EMPTY, series([15.0])])
    assert (empty.size, roll_up(one).tolist()) == (0, [1])


def test_readings_below_zero_are_soil_temperatures_like_others() -> None:
    # source: [ISMN] D01 flags soil MOISTURE where soil is below 0 degC; it is no flag for these
    cold = wave(8, 2.0, mean_c=-6.0)
    assert set(roll_up(check_logger([cold])[0])) == {1}


def test_what_is_not_believed_is_no_reading_to_the_tests_behind() -> None:
    # -127 in the middle: the next is held against 15.1, not against -127
    results = last([15.0, 15.1, -127.0, 15.2])
    assert (results["spike"], results["rate_of_change"]) == (1, 1)


def test_a_value_that_is_not_believed_is_not_evaluated_further() -> None:
    results = last([15.0, 15.1, -127.0])
    assert (results["gross_range"], results["power_on"], results["spike"]) == (4, 4, 2)
    assert (
        explain("spike", [series([15.0, 15.1, -127.0])], 0, 2) == "the value itself is not believed"
    )


def test_at_an_unknown_depth_only_what_needs_none_is_judged() -> None:
    code = check_logger([wave(8, 4.0, depth_cm=np.nan)])[0]
    judged = {test for test, flag in unpack(code).items() if flag[-1] != 2}
    assert judged == {"gross_range", "power_on"}


def test_a_spike_does_not_bend_the_days_behind_it() -> None:
    deep = wave(10, 0.3, depth_cm=50)
    values_c = deep.soil_temp_c.copy()
    values_c[150] += 26.0
    code = check_logger([ProbeSeries(deep.observed_at, values_c, 50.0)])[0]
    assert np.flatnonzero(roll_up(code) > 2).tolist() == [150]


def test_a_spike_is_judged_by_the_days_before_it_whether_or_not_more_follows() -> None:
    good = wave(10, 3.0)
    values_c = good.soil_temp_c.copy()
    values_c[150] = 40.0
    probe = ProbeSeries(good.observed_at, values_c, 30.0)
    so_far, whole = (check_logger([each])[0][150] for each in (probe.where(slice(151)), probe))
    assert (so_far, unpack(so_far)["daily_range"]) == (whole, 1)


@pytest.mark.parametrize("test", TESTS)
def test_every_result_of_every_test_has_a_reason(test: str) -> None:
    probe = series([15.0, 15.1, 24.4, 24.5])
    assert explain(test, [probe], 0, 3)


@pytest.mark.parametrize(
    ("value_c", "told"),
    [
        (61.0, "61.0 °C is outside -60 to 60 °C, what a probe can report"),
        (46.0, "46.0 °C is outside -20 to 45 °C, what this soil does"),
    ],
)
def test_the_reason_of_gross_range_names_the_span(value_c: float, told: str) -> None:
    assert explain("gross_range", [series([value_c])], 0, 0) == told
