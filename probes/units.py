"""Temperature units: degrees Celsius inside, either scale at the edges.

Thresholds and readings go through the same two functions, so that 64.0 °F meets 64.0 °F exactly.
"""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

Unit = Literal["C", "F"]
Temperature = TypeVar("Temperature", float, NDArray[np.float64])


def f_to_c(temp_f: Temperature) -> Temperature:
    """Return a temperature in °C. The scales' definition: 32 °F = 0 °C, 212 °F = 100 °C."""
    return (temp_f - 32.0) * 5.0 / 9.0


def c_to_f(temp_c: Temperature) -> Temperature:
    """Return a temperature in °F. The scales' definition: 0 °C = 32 °F, 100 °C = 212 °F."""
    return temp_c * 9.0 / 5.0 + 32.0


def delta_f_to_c(delta_f: Temperature) -> Temperature:
    """Return a temperature difference in °C from one in °F."""
    return delta_f * 5.0 / 9.0


def delta_c_to_f(delta_c: Temperature) -> Temperature:
    """Return a temperature difference in °F from one in °C."""
    return delta_c * 9.0 / 5.0


def from_c(temp_c: Temperature, unit: Unit) -> Temperature:
    """Return a temperature of ours [degC] in the unit a reader chose."""
    return c_to_f(temp_c) if unit == "F" else temp_c


def to_c(temp: Temperature, unit: Unit) -> Temperature:
    """Return a temperature given in `unit` in degC."""
    return f_to_c(temp) if unit == "F" else temp
