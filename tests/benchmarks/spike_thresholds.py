"""Which planted spikes the spike test finds at each threshold, and what it flags of real soil.

Run: python -m tests.benchmarks.spike_thresholds

One reading in 97 is moved up or down, in turn, so that no two stand beside each other. What is
flagged of the series as they are counts as flagged falsely, though some of it may be true faults.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from probes.checks import ProbeSeries
from probes.checks.spike import Spike, flag_spike
from probes.frames import NOT_EVALUATED, SUSPECT
from tests.soil_series import profile, twitchell

THRESHOLDS_C = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0)
PLANTED_C = (2.0, 3.0, 5.0)
EVERY = 97
SHALLOW_CM = 10.0


def find_planted(probes: Sequence[ProbeSeries], spike: Spike, size_c: float) -> float:
    """Return the share of planted spikes that is flagged; without readings beside it none is."""
    found, planted = 0, 0
    for one in probes:
        place = np.arange(EVERY, one.soil_temp_c.size - 1, EVERY)
        value_c = one.soil_temp_c.copy()
        value_c[place] += size_c * (1 - 2 * (np.arange(place.size) % 2))
        flag = flag_spike(replace(one, soil_temp_c=value_c), spike)[place]
        found += int((flag >= SUSPECT).sum())
        planted += int((flag != NOT_EVALUATED).sum())
    return found / planted


def count_false(probes: Sequence[ProbeSeries], spike: Spike) -> float:
    """Return how many of 100,000 readings are flagged of the series as they are."""
    flags = np.concatenate([flag_spike(one, spike) for one in probes])
    return float((flags >= SUSPECT).sum() / flags.size * 100_000)


def main() -> None:
    """Print a row for each threshold and group of depths, causal and with the later reading."""
    every = (*twitchell(), *profile())
    groups = {
        "2-10 cm": [one for one in every if one.depth_cm <= SHALLOW_CM],
        "16-60 cm": [one for one in every if one.depth_cm > SHALLOW_CM],
    }
    columns = [*(f"{size_c:g} °C found" for size_c in PLANTED_C), "falsely per 100,000"]
    later = [f"later: {name}" for name in columns]
    print(f"| `suspect_c` | depths | {' | '.join([*columns, *later])} |")
    print(f"|{'---|' * (2 + 2 * len(columns))}")
    for (name, probes), suspect_c in product(groups.items(), THRESHOLDS_C):
        cells = []
        for waits in (False, True):
            spike = Spike(suspect_c=suspect_c, later=waits)
            cells += [f"{find_planted(probes, spike, size_c):.0%}" for size_c in PLANTED_C]
            cells.append(f"{count_false(probes, spike):.1f}")
        print(f"| {suspect_c:g} | {name} | {' | '.join(cells)} |")


if __name__ == "__main__":
    main()
