"""Daily means of real and generated soil, days x depths, for tests of what is lost and carried."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.generated_climate import DEPTHS_CM, generate
from tests.soil_series import profile, twitchell

Soil = tuple[NDArray[np.datetime64], dict[int, NDArray[np.float64]]]
"""Consecutive days, and by depth [cm] the mean of each, NaN where it has under 18 h [degC]."""


@cache
def soil_days(name: str) -> Soil:
    """Return "twitchell" [US-TW3], "profile" [UTAH-PROFILE] or "generated", eight years."""
    if name == "generated":
        climate = generate(seed=1, years=8)
        first = climate.observed_at[0].astype("datetime64[D]")
        days = first + np.arange(climate.daily_c.shape[1])
        return days, dict(zip(map(int, DEPTHS_CM), climate.daily_c, strict=True))
    probes, hours_west = (twitchell(), 8) if name == "twitchell" else (profile(), 7)
    by_depth = {}
    for probe in probes:
        local = pd.DatetimeIndex(probe.observed_at) - pd.Timedelta(hours_west, "h")
        hours = pd.Series(probe.soil_temp_c, local).resample("h", closed="right").mean()
        of_day = hours.resample("D")
        by_depth[int(probe.depth_cm)] = of_day.mean().where(of_day.count() >= 18)
    table = pd.DataFrame(by_depth)
    days = table.index.to_numpy().astype("datetime64[D]")
    return days, {depth_cm: table[depth_cm].to_numpy() for depth_cm in table}
