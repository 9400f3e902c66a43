"""Which openings do gaps hide, and how many days are missing there?

    python -m service.bench_examples.hidden data

Prints the springs whose opening is known between two days only, the days of the root zone that are
missing in between, and how warm it was on the last day before.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

from service.bench import open_store, root_zone, windows


def main(data: str | Path = "data") -> str:
    """Return the table."""
    with open_store(data) as store:
        seasons, days = windows(store), root_zone(store)
    hidden = seasons.query("kind == 'spring' and opened_day > after_day + 1")
    between = hidden.merge(days, on=["site", "block"]).query("after <= day < opened_on")
    of_opening = between.groupby(["block", "season", "after", "opened_on"])
    told = of_opening.agg(days=("day", "size")).reset_index()
    before = days.rename(columns={"day": "after", "mean_c": "before_c"})
    told = told.merge(before[["block", "after", "before_c"]], how="left")
    hidden_d = (told["opened_on"] - told["after"]) / pd.Timedelta(days=1)
    told["missing_d"] = (hidden_d - told.pop("days")).astype(int)
    return told.to_string(index=False, float_format="{:.1f}".format)


if __name__ == "__main__":
    print(main(*sys.argv[1:]))  # noqa: T201 (a script's answer)
