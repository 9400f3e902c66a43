"""Celsius and Fahrenheit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.units import c_to_f, delta_f_to_c, f_to_c, from_c, to_c

soil_temps_c = st.floats(-100, 100)


@pytest.mark.parametrize(
    ("temp_f", "temp_c"),
    # the scales' definition, and by hand: they meet at -40, and (64 - 32) * 5 / 9 = 160 / 9
    [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (64.0, 160.0 / 9.0)],
)
def test_fahrenheit_becomes_celsius(temp_f: float, temp_c: float) -> None:
    assert f_to_c(temp_f) == temp_c  # degC, exact


@given(soil_temps_c)
def test_celsius_survives_the_way_to_fahrenheit_and_back(temp_c: float) -> None:
    assert f_to_c(c_to_f(temp_c)) == pytest.approx(temp_c, abs=1e-9)  # degC


@given(soil_temps_c, soil_temps_c)
def test_a_difference_converts_as_the_difference_of_the_converted(
    first: float, other: float
) -> None:
    expected = f_to_c(first) - f_to_c(other)
    assert delta_f_to_c(first - other) == pytest.approx(expected, abs=1e-9)  # degC


@pytest.mark.parametrize(
    ("unit", "shown"),
    [("C", 10.0), ("F", 50.0)],  # by hand: 10 * 9 / 5 + 32
)
def test_a_reader_sees_the_unit_they_chose(unit, shown: float) -> None:
    assert (from_c(10.0, unit), to_c(shown, unit)) == (shown, 10.0)
