"""How good outlooks would have been in the real soil of [US-TW3], each season left out of its fit.

Run: python -m tests.benchmarks.bench_outlook_skill
"""

from __future__ import annotations

import numpy as np

from alerts.hindcasts import hindcast, pool
from alerts.rules import GRAPE_PHYLLOXERA, Kind
from alerts.skill import Share, score_bands
from tests.plain_soil import ALFALFA, root_zone_days


def main() -> None:
    """Print a table of scores by lead for spring and for fall."""
    by_day = root_zone_days(ALFALFA)
    days = np.arange(np.datetime64(min(by_day)), np.datetime64(ALFALFA.last_day) + 1)
    root_zone_c = np.array([by_day.get(day, np.nan) for day in days.tolist()])
    print("| opening | lead, d | seasons | error, d | late, d | CRPS, d ", end="")
    print("| better than climatology | than persistence | interval held |")
    print("|---|---|---|---|---|---|---|---|---|")
    kinds: tuple[Kind, ...] = ("spring", "fall")
    for kind in kinds:
        hindcasts = pool(
            list(hindcast(root_zone_c, days, False, GRAPE_PHYLLOXERA, kind, ALFALFA.block))
        )
        for band in score_bands(hindcasts):
            cells = [kind, "{}-{}".format(*band.lead_d), str(band.seasons)]
            cells += [f"{band.mae_d:.1f}", f"{band.bias_d:+.1f}", f"{band.crps_d:.2f}"]
            shares = band.over_climatology, band.over_persistence, band.coverage
            print("|", " | ".join([*cells, *map(show, shares)]), "|")


def show(share: Share) -> str:
    """Return "25 % (8 to 41)"."""
    bounds = "" if share.low is None else f" ({100 * share.low:.0f} to {100 * share.high:.0f})"
    return f"{share.value:.0%}{bounds}".replace("%", " %")


if __name__ == "__main__":
    main()
