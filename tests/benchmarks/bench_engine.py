"""How many block-days a second the window engine judges: 10,000 series x 3,650 days.

By the seconds of the processors, which a machine that others use bends less than the clock's.

Run: python -m tests.benchmarks.bench_engine
"""

from __future__ import annotations

import time
from datetime import date

import numpy as np

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import find_spans
from tests.benchmarks.bars import Bar, judge
from tests.plain_rule import plain_spans

N_SERIES, N_DAYS, N_PLAIN = 10_000, 3_650, 50
FIRST_DAY = date(2010, 1, 1)


def make_series(n_series: int = N_SERIES, n_days: int = N_DAYS) -> np.ndarray:
    """Return root-zone days [degC]: a yearly wave, weather that persists, one day in 50 missing."""
    random = np.random.default_rng(64)
    day = np.arange(n_days)
    weather_c = np.zeros((n_series, n_days))
    for i in day[1:]:
        weather_c[:, i] = 0.9 * weather_c[:, i - 1] + random.normal(0, 0.7, n_series)
    root_zone_c = 13.5 - 9.2 * np.cos(2 * np.pi * (day - 30) / 365) + weather_c
    root_zone_c[random.random(root_zone_c.shape) < 0.02] = np.nan
    return root_zone_c


def main() -> None:
    """Time the engine on all series, and the plain loop of the tests on a few of them."""
    root_zone_c = make_series()
    days = np.datetime64(FIRST_DAY) + np.arange(N_DAYS)
    as_of = days[-1].item()
    south = np.zeros(N_SERIES, bool)
    seconds, spans = [], []
    for _ in range(3):
        begun = time.process_time()
        spans = find_spans(root_zone_c, days, south, GRAPE_PHYLLOXERA, as_of)
        seconds.append(time.process_time() - begun)
    engine_rate = root_zone_c.size / sorted(seconds)[1]

    few = [[None if c != c else c for c in row] for row in root_zone_c[:N_PLAIN].tolist()]
    begun = time.process_time()
    plain = [plain_spans(row, FIRST_DAY, False, GRAPE_PHYLLOXERA, as_of) for row in few]
    plain_rate = N_PLAIN * N_DAYS / (time.process_time() - begun)
    if plain != spans[:N_PLAIN]:
        raise SystemExit("the engine and the plain loop disagree")

    print("| what | block-days a second | ratio |")
    print("|---|---|---|")
    print(f"| plain loop | {plain_rate / 1e6:.2f} million | 1 |")
    print(f"| engine | {engine_rate / 1e6:.1f} million | {engine_rate / plain_rate:.0f} |")
    judge([Bar("engine, million block-days a second", engine_rate / 1e6, ">= 10")])


if __name__ == "__main__":
    main()
