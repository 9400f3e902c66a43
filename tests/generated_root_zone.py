"""The root zone of a block in a generated climate."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from alerts.root_zone import find_basis
from tests.generated_climate import DEPTHS_CM, generate

NOISE_C, KEPT = 1.5, 0.68  # from a day to the next: tests.benchmarks.bench_outlook_air


@cache
def generated_days(seed: int, years: int) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return the days of whole years from 1991 on, and the mean over 15-45 cm of each [degC]."""
    climate = generate(seed=seed, years=years)
    basis = find_basis(DEPTHS_CM, 15, 45)
    shares = [basis.get(depth_cm, 0.0) for depth_cm in DEPTHS_CM]
    root_zone_c = np.array(shares) @ climate.daily_c
    return climate.observed_at[::24].astype("datetime64[D]"), root_zone_c


@cache
def generated_air(seed: int, years: int) -> NDArray[np.float64]:
    """Return the air of each day: the surface, and what else moves the air of [US-TW3] [degC]."""
    surface_c = generate(seed=seed, years=years).surface_c.reshape(-1, 24).mean(axis=1)
    pushes_c = np.random.default_rng(seed).normal(0, NOISE_C * (1 - KEPT**2) ** 0.5, surface_c.size)
    return surface_c + lfilter([1.0], [1.0, -KEPT], pushes_c)
