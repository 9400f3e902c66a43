"""A generated climate of known truth: hourly soil temperatures under weather-like anomalies.

The surface has a yearly wave (and a small one of half a year), a daily wave that is larger in
summer and on clear days, and weather: anomalies that fade within days, within a month, and within a
year, wider in winter. All of it goes down by the damped wave, wave by wave, so that every depth
obeys the same conduction with one diffusivity. What a forecast should know is kept beside: the
yearly curve at each depth without weather.

The sizes are like those of real soil: at 2 to 32 cm of [US-TW3], daily means stray from their
yearly curve by 1.9 to 1.1 degC, alike from day to day by 0.88 to 0.97, after a month by 0.14 to
0.22, and years differ by 0.4 degC.

    climate = generate(seed=1)
    climate.soil_temp_c[1]     # hourly at 30 cm
    climate.curve_c(30.0, climate.time_d)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from probes.soil.damped_wave import YEAR_D
from probes.soil.harmonics import days_since_1970
from tests.plain_waves import DampedWave, by_waves

DEPTHS_CM = (10.0, 30.0, 50.0)
HOUR_S = 3_600.0
WARM_UP_D = 366  # the soil forgets that it started without anomalies


@dataclass(frozen=True)
class Truth:
    """What a climate is drawn from; without weather the defaults are near [REFERENCE-R].

    weather : (standard deviation at the surface [degC], fades by the factor e within [d])
    """

    mean_c: float = 13.5
    yearly_amplitude_c: float = 11.5
    coldest_d: float = 20.0
    half_yearly_amplitude_c: float = 1.0
    half_yearly_coldest_d: float = 60.0
    diffusivity_m2_s: float = 5e-7
    daily_amplitude_c: float = 7.0
    weather: tuple[tuple[float, float], ...] = ((1.7, 4.0), (0.8, 25.0), (0.4, 300.0))

    @property
    def waves(self) -> tuple[DampedWave, DampedWave]:
        """The yearly wave and that of half a year, which adds nothing to the mean."""
        alpha = self.diffusivity_m2_s
        return (
            DampedWave(self.mean_c, self.yearly_amplitude_c, self.coldest_d, alpha, YEAR_D),
            DampedWave(
                0.0, self.half_yearly_amplitude_c, self.half_yearly_coldest_d, alpha, YEAR_D / 2
            ),
        )


@dataclass(frozen=True)
class GeneratedClimate:
    """Soil as its probes would report it, hour by hour without gaps.

    observed_at : (n,) datetime64[us], UTC, which is the site's standard time as well
    soil_temp_c : (n_depths, n) float64 [degC]
    surface_c : (n,) float64 [degC]
    """

    truth: Truth
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    surface_c: NDArray[np.float64]

    @property
    def time_d(self) -> NDArray[np.float64]:
        """The same times as days since 1970 [d]."""
        return days_since_1970(self.observed_at)

    @property
    def daily_c(self) -> NDArray[np.float64]:
        """Daily means, shape (n_depths, n_days) [degC]."""
        return self.soil_temp_c.reshape(len(self.soil_temp_c), -1, 24).mean(axis=2)

    def curve_c(self, depth_cm: float, time_d: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the yearly curve at a depth, without weather and daily wave [degC]."""
        yearly, half_yearly = (wave.temp_c(depth_cm / 100, time_d) for wave in self.truth.waves)
        return yearly + half_yearly


def generate(
    seed: int,
    years: int = 30,
    first_year: int = 1991,
    truth: Truth | None = None,
    depths_cm: Sequence[float] = DEPTHS_CM,
) -> GeneratedClimate:
    """Return whole calendar years of a climate; one seed, one climate."""
    truth = truth or Truth()
    rng = np.random.default_rng(seed)
    start, end = (np.datetime64(f"{year}-01-01", "h") for year in (first_year, first_year + years))
    warm_up = np.arange(start - WARM_UP_D * 24, end) + 1  # stamps are ends
    time_d = days_since_1970(warm_up)
    surface_c = (_weather_c(rng, time_d, truth) + _daily_wave_c(rng, time_d, truth))[:, np.newaxis]
    observed_at = warm_up[WARM_UP_D * 24 :].astype("datetime64[us]")
    climate = GeneratedClimate(
        truth,
        observed_at,
        np.empty((len(depths_cm), observed_at.size)),
        surface_c[WARM_UP_D * 24 :, 0].copy(),
    )
    climate.surface_c[:] += climate.curve_c(0.0, climate.time_d)
    for row, depth_cm in enumerate(depths_cm):
        deeper_c = by_waves(surface_c, HOUR_S, depth_cm / 100, truth.diffusivity_m2_s)[:, 0]
        climate.soil_temp_c[row] = deeper_c[WARM_UP_D * 24 :]
        climate.soil_temp_c[row] += climate.curve_c(depth_cm, climate.time_d)
    return climate


def _weather_c(
    rng: np.random.Generator, time_d: NDArray[np.float64], truth: Truth
) -> NDArray[np.float64]:
    """Return anomalies of the surface that fade at several paces, wider in winter [degC]."""
    parts_c = [sd_c * _fading(rng, time_d, fades_d) for sd_c, fades_d in truth.weather]
    return (1 - 0.25 * _summer(time_d, truth)) * np.sum(parts_c, axis=0)


def _daily_wave_c(
    rng: np.random.Generator, time_d: NDArray[np.float64], truth: Truth
) -> NDArray[np.float64]:
    """Return a daily wave that peaks at 14:00, larger in summer and on clear days [degC]."""
    clear = np.clip(1 + 0.35 * _fading(rng, time_d, 2.0), 0.2, 1.6)
    size_c = truth.daily_amplitude_c * (1 + 0.4 * _summer(time_d, truth)) * clear
    return size_c * np.cos(2 * np.pi * (time_d - 14 / 24))


def _summer(time_d: NDArray[np.float64], truth: Truth) -> NDArray[np.float64]:
    """Return 1 at the warmest time of the year and -1 at the coldest."""
    return -np.cos(2 * np.pi * (time_d - truth.coldest_d) / YEAR_D)


def _fading(
    rng: np.random.Generator, time_d: NDArray[np.float64], fades_d: float
) -> NDArray[np.float64]:
    """Return a random walk back to zero, of variance one: a value a day, a line in between."""
    kept = np.exp(-1 / fades_d)
    noon_d = np.arange(np.floor(time_d[0]), time_d[-1] + 1)
    pushes = np.sqrt(1 - kept**2) * rng.standard_normal(noon_d.size)
    pushes[0] = rng.standard_normal()
    return np.interp(time_d, noon_d, lfilter([1.0], [1.0, -kept], pushes))
