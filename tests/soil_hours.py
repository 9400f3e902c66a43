"""Real soil as hours x depths, NaN where a reading is missing."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from probes.soil.harmonics import days_since_1970
from tests.real_data import PROFILE, need

PROFILE_DEPTHS_CM = (5, 10, 20, 30, 40, 50, 60)


@cache
def profile_hours() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return hours [d since 1970, UTC-07:00] and the seven depths of [UTAH-PROFILE] [degC]."""
    table = pd.read_csv(need(PROFILE), index_col="DATETIME_END", parse_dates=True)
    hours = pd.date_range(table.index[0], table.index[-1], freq="h")
    columns = [f"TS_3_{i}_1" for i in range(1, 1 + len(PROFILE_DEPTHS_CM))]
    hourly_c = table[columns].reindex(hours).to_numpy(np.float64).T
    return days_since_1970(hours.to_numpy()), hourly_c
