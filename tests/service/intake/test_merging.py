"""Readings of a file held against those the store has."""

from __future__ import annotations

import numpy as np

from probes.frames import NOT_EVALUATED, Readings
from service.intake.merging import compare_readings


def hours(*numbers: int) -> np.ndarray:
    return np.datetime64("2025-10-01", "us") + np.array(numbers, "m8[h]")


def unchecked(numbers: list[int], soil_temp_c: list[float]) -> Readings:
    flag = np.full(len(numbers), NOT_EVALUATED, np.int8)
    return Readings(hours(*numbers), np.array(soil_temp_c), flag)


STORED = unchecked([1, 3], [14.0, 15.0])


def test_readings_are_new_identical_or_conflicting() -> None:
    found = compare_readings(hours(0, 1, 2, 3), np.array([13.0, 14.0, 14.5, 19.0]), STORED)
    np.testing.assert_equal(vars(found.new), vars(unchecked([0, 2], [13.0, 14.5])))
    assert found.identical == 1
    np.testing.assert_equal([found.other_c, found.kept_c], [[19.0], [15.0]])
    np.testing.assert_equal(found.other_at, hours(3))


def test_a_repeat_within_a_file_is_held_against_the_value_that_is_kept() -> None:
    # hour 3: the store keeps 15.0; hour 5: the file's first, 16.0, is kept
    file_c = np.array([19.0, 15.0, 16.0, 17.0, 16.0])
    found = compare_readings(hours(3, 3, 5, 5, 5), file_c, STORED)
    np.testing.assert_equal(vars(found.new), vars(unchecked([5], [16.0])))
    assert found.identical == 2
    np.testing.assert_equal([found.other_c, found.kept_c], [[19.0, 17.0], [15.0, 16.0]])


def test_rows_that_run_backward_come_out_forward() -> None:
    found = compare_readings(hours(9, 8, 7), np.array([9.0, 8.0, 7.0]), STORED)
    np.testing.assert_equal(vars(found.new), vars(unchecked([7, 8, 9], [7.0, 8.0, 9.0])))
