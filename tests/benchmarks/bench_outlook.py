"""How long the outlooks of a large cooperative take: 1,000 blocks, 500 members each.

In seconds of the processors, which a machine that others use bends less than the clock's.

Run: python -m tests.benchmarks.bench_outlook
"""

from __future__ import annotations

import time
from datetime import date, timedelta

import numpy as np

from alerts.outlook.courses import season_days
from alerts.outlook.curves import fit_curves, follow
from alerts.outlook.dates import MEMBERS, find_outlooks, likely_days
from alerts.outlook.members import coming_days, draw_members, member_rng
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.season import season_start
from tests.benchmarks.bars import Bar, judge
from tests.benchmarks.bench_engine import make_series
from tests.plain_rule import plain_spans

N_BLOCKS, N_PLAIN = 1_000, 4
ISSUED_ON = date(2014, 4, 20)
FIRST_DAY = date(2011, 1, 1)


def main() -> None:
    """Time all blocks together, and a few one by one with each member through the plain loop."""
    n_days = (ISSUED_ON - FIRST_DAY).days + 1
    root_zone_c = make_series(N_BLOCKS, n_days)
    days = np.datetime64(FIRST_DAY) + np.arange(n_days)
    before = days < np.datetime64(season_start(2014, south=False))

    begun = time.process_time()
    curves = fit_curves(root_zone_c[:, before], days[before])
    fitted = time.process_time()
    rngs = [member_rng(f"block-{row}", ISSUED_ON) for row in range(N_BLOCKS)]
    outlooks = find_outlooks(
        root_zone_c, days, curves, False, GRAPE_PHYLLOXERA, ISSUED_ON, rngs, MEMBERS
    )
    ended = time.process_time()

    plain = [plain_median(root_zone_c[row], days, before, row) for row in range(N_PLAIN)]
    plain_s = (time.process_time() - ended) / N_PLAIN
    if plain != [one.opens and one.opens.p50 for one in outlooks[:N_PLAIN]]:
        raise SystemExit("the blocks together and the plain loop disagree")

    together_s = (ended - begun) / N_BLOCKS
    print("| what | ms a block | ratio |\n|---|---|---|")
    print(f"| plain loop, a block at a time | {1e3 * plain_s:.0f} | 1 |")
    print(f"| all blocks together | {1e3 * together_s:.1f} | {plain_s / together_s:.0f} |")
    print(f"\nof all, the yearly curves: {fitted - begun:.1f} s")
    judge([Bar(f"{N_BLOCKS} outlooks of {MEMBERS} members, s", ended - begun, "< 30")])


def plain_median(
    root_zone_c: np.ndarray, days: np.ndarray, before: np.ndarray, row: int
) -> date | None:
    """Return the middle day of the first openings of one block's members."""
    curve = fit_curves(root_zone_c[np.newaxis, before], days[before])
    whole = season_days(2014, False, GRAPE_PHYLLOXERA)
    seen = np.isin(days, whole)
    seen_c = root_zone_c[seen]
    within = whole[: seen_c.size] >= np.datetime64("2014-01-01")
    belief = follow(curve, seen_c[np.newaxis, within], whole[: seen_c.size][within])
    start = int(np.flatnonzero(within)[0]) + int(belief.last[0]) + 1
    mean_c, cov_c2 = coming_days(belief, 0, whole[start:])
    rng = member_rng(f"block-{row}", ISSUED_ON)
    lead_d = []
    for member_c in draw_members(mean_c, cov_c2, MEMBERS, rng).tolist():
        course = [None if c != c else c for c in seen_c[:start].tolist()] + member_c
        spans = plain_spans(course, whole[0].item(), False, GRAPE_PHYLLOXERA, whole[-1].item())
        opened = [span.opened_on for span in spans if span.season == 2014]
        lead_d.append((opened[0] - ISSUED_ON).days if opened else np.inf)
    return ISSUED_ON + timedelta(days=int(likely_days(np.array(lead_d))[1]))


if __name__ == "__main__":
    main()
