"""How much later does spring open deeper down, and how sure is that?

    python -m service.bench_examples.depth_lag data

Prints, for each site of a store, by how many days each depth opens later than the shallowest one,
over the seasons in which both are known to the day, how many those are, and by how many days the
difference varies from one to the other (a standard deviation).
"""

from __future__ import annotations

import sys
from pathlib import Path

from service.bench import open_store, windows


def main(data: str | Path = "data") -> str:
    """Return the table."""
    with open_store(data) as store:
        seasons = windows(store, by="depth")
    known = seasons.query("kind == 'spring' and opened_day == after_day + 1")
    by_depth = known.pivot_table(
        index=["site", "season"], columns="depth_cm", values="opened_day", observed=True
    )
    shallowest = by_depth.bfill(axis="columns").iloc[:, 0]
    later = by_depth.sub(shallowest, axis="index").stack().dropna().groupby(["site", "depth_cm"])
    return later.agg(days_later="mean", varies="std", seasons="count").round(1).to_string()


if __name__ == "__main__":
    print(main(*sys.argv[1:]))  # noqa: T201 (a script's answer)
