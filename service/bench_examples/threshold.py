"""Does it matter whether spring opens at 62, 64 or 66 °F?

    python -m service.bench_examples.threshold data

Prints, for each block and season, on which day spring opens under each, and how many days a degree
is worth; then the seasons that do not say, with the reason.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from service.bench import open_store, windows

THRESHOLDS_F = [62.0, 64.0, 66.0]


def main(data: str | Path = "data") -> str:
    """Return both tables."""
    with open_store(data) as store:
        seasons = windows(store, thresholds_f=THRESHOLDS_F)
    spring = seasons.query("kind == 'spring'")
    known = spring.query("opened_day == after_day + 1")
    by_limit = known.pivot_table("opened_day", ["block", "season"], "spring_opens_f", observed=True)
    opened = by_limit.dropna()
    days_a_degree = np.polyfit(THRESHOLDS_F, opened.T, 1)[0]
    told = opened.assign(days_a_degree=days_a_degree.round(1))
    columns = ["block", "season", "spring_opens_f", "outcome", "after", "opened_on"]
    return f"{told.to_string()}\n\n{spring.drop(known.index)[columns].to_string(index=False)}"


if __name__ == "__main__":
    print(main(*sys.argv[1:]))  # noqa: T201 (a script's answer)
