"""What a forecast of the air a week ahead adds to outlooks: perfect, and with the error it has.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_outlook_air
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from alerts.hindcasts import Hindcasts, PastAir, hindcast, pool
from alerts.outlook.air import fit_response
from alerts.rules import GRAPE_PHYLLOXERA, Kind
from alerts.scores import find_skill
from alerts.skill import Share, by_season, covered
from tests.benchmarks.bench_outlook_skill import show
from tests.generated_root_zone import generated_air, generated_days
from tests.plain_soil import ALFALFA, UTAH, Station, root_zone_days
from tests.real_data import need

LEADS_D = ((1, 3), (4, 7), (1, 7), (8, 14), (15, 30))
Days = NDArray[np.datetime64]
Series = NDArray[np.float64]


def main() -> None:
    """Print the response of each real soil, then a table of scores by lead."""
    for station, column in ((ALFALFA, "TA"), (UTAH, "TA_1_1_1")):
        days, root_zone_c, air_c = real_days(station, column)
        found = fit_response(root_zone_c, air_c, days)
        print(f"{station.block}: {found.mean.round(1).tolist()}, noise {found.noise_c:.2f} degC")
    print("| opening | lead, d | seasons | CRPS, d | perfect | with its error ", end="")
    print("| perfect better by | with its error | interval held |")
    print("|---|---|---|---|---|---|---|---|---|")
    days, root_zone_c, air_c = real_days(ALFALFA, "TA")
    show_gains("spring", "spring", days, root_zone_c, air_c, 1, draws=4)
    show_gains("fall", "fall", days, root_zone_c, air_c, 1, draws=4)
    generated, generated_c = generated_days(seed=1, years=30)
    made_c = generated_air(seed=1, years=30)
    show_gains("spring, generated", "spring", generated, generated_c, made_c, 3)


def real_days(station: Station, column: str) -> tuple[Days, Series, Series]:
    """Return days, root zone and air of a station, NaN where a day is not whole."""
    by_day = root_zone_days(station)
    table = pd.read_csv(need(station.file), skiprows=max(0, station.lines_before_header - 1))
    ends = pd.to_datetime(table[station.time].astype(str), format=station.time_format)
    readings_c = table[column].where(table[column] != -9999).to_numpy(float)
    hours = pd.Series(readings_c, ends - pd.Timedelta(1, "s")).resample("h").mean()
    of_day = hours.resample("D")
    air = of_day.mean().where(of_day.count() >= 18)
    days = np.arange(np.datetime64(min(by_day)), np.datetime64(max(by_day)) + 1)
    root_zone_c = np.array([by_day.get(day, np.nan) for day in days.tolist()])
    return days, root_zone_c, air.reindex(pd.DatetimeIndex(days)).to_numpy()


def show_gains(
    name: str,
    kind: Kind,
    days: Days,
    root_zone_c: Series,
    air_c: Series,
    every_d: int,
    draws: int = 1,
) -> None:
    """Print what the air adds to the outlooks of one window, errors drawn several times."""

    def run(air: PastAir | None) -> Hindcasts:
        rule, drawn = GRAPE_PHYLLOXERA, (f"{name} {draw}" for draw in range(draws))
        found = (
            hindcast(root_zone_c, days, False, rule, kind, block_id, every_d=every_d, air=air)
            for block_id in drawn
        )
        return pool([season for of_draw in found for season in of_draw])

    plain, *with_air = run(None), run(PastAir(air_c, True)), run(PastAir(air_c, False))
    for first_d, last_d in LEADS_D:
        which = (plain.lead_d >= first_d) & (plain.lead_d <= last_d)
        cells = [name, f"{first_d}-{last_d}", str(np.unique(plain.season[which]).size)]
        cells += [f"{one.crps_d[which].mean():.2f}" for one in (plain, *with_air)]
        cells += [show(find_gain(one, plain, first_d, last_d)) for one in with_air]
        print("|", " | ".join([*cells, f"{covered(with_air[1].where(which)):.0%}"]), "|")


def find_gain(hindcasts: Hindcasts, without: Hindcasts, first_d: int, last_d: int) -> Share:
    """Return by what share the CRPS is better than that of the same outlooks without something.

    Of those issued `first_d` to `last_d` before what came; both in the same order.
    """
    paired = replace(hindcasts, climatology_crps_d=without.crps_d)
    some = paired.where((paired.lead_d >= first_d) & (paired.lead_d <= last_d))
    return by_season(
        some,
        lambda one: find_skill(float(one.crps_d.mean()), float(one.climatology_crps_d.mean())),
    )


if __name__ == "__main__":
    main()
