"""The researcher's bench: windows and root-zone days of a store as tidy pandas frames.

    from service.bench import open_store, root_zone, windows

    store = open_store("data")
    seasons = windows(store, by="depth", thresholds_f=[60, 62, 64])
    days = root_zone(store, blocks=["terrace-7"])

These names, their parameters and the columns of their frames stay as they are; `attrs` of each
frame says units and meanings.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sqlalchemy import Engine

from alerts.rules import GRAPE_PHYLLOXERA, WindowRule
from alerts.variants import Numbers, vary
from probes.units import f_to_c
from service.rule_sets import fetch_rules
from service.settings import Settings
from service.store.archive import fetch_archive_sites
from service.store.blocks import fetch_blocks
from service.store.engine import open_engine, reading
from service.store.schema import upgrade
from service.study.days import StudyDays, fetch_depths, fetch_root_zones_of
from service.study.windows import compare, list_days

if TYPE_CHECKING:
    import pandas as pd

By = Literal["block", "depth"]


@dataclass(frozen=True)
class Store:
    """A store that is open for reading; end it by `close()`, or use it in a `with`."""

    engine: Engine
    settings: Settings

    def close(self) -> None:
        """Close its connections."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self.close()


def open_store(data: str | Path = "data", database_url: str = "") -> Store:
    """Open the store of a data folder, or a PostgreSQL one by its address.

    FileNotFoundError where the folder has none; StoreTooNewError where a newer Digseason wrote it.
    """
    settings = Settings(data=Path(data), database_url=database_url)
    if not settings.database_url and not settings.store_file.exists():
        raise FileNotFoundError(f"there is no store in {data}; name the folder of `--data`")
    engine = open_engine(settings.store_url)
    upgrade(engine)
    return Store(engine, settings)


def windows(
    store: Store,
    *,
    by: By = "block",
    sites: Collection[str] = (),
    blocks: Collection[str] = (),
    depths_cm: Collection[float] = (),
    thresholds_f: Sequence[float] = (),
    thresholds_c: Sequence[float] = (),
    margins_c: Sequence[float] = (),
    mean_days: Sequence[int] = (),
    rules: Collection[str] = (GRAPE_PHYLLOXERA.name,),
    as_of: date | None = None,
    bounds: bool = False,
) -> pd.DataFrame:
    """Return what became of each window, a row for each place, rule, season, spring and fall.

    Parameters
    ----------
    by : "block" for the root zones of blocks, "depth" for each depth of each site
    sites, blocks, depths_cm : those to look at; none: all
    thresholds_f, thresholds_c : at which spring opens [degF, degC]; margins_c [degC]; mean_days [d]
        Each combination is tried on each rule; none leaves the number of the rule.
    rules : names of rule sets, which all places follow, whatever the farm file says of a block
    as_of : the last day that counts; yesterday in UTC unless given
    bounds : whether to find how far openings may be off by the errors of the temperatures

    Returns
    -------
    DataFrame
        Columns as service.study.windows.COLUMNS says, units and meanings in `attrs`.

    Raises
    ------
    LookupError
        When a site, block, or rule set is not in the store.
    ContradictionError
        When numbers contradict each other (alerts.variants).
    """
    until = as_of or yesterday()
    numbers = Numbers([*map(f_to_c, thresholds_f), *thresholds_c], margins_c, mean_days)
    chosen = choose_rules(store, rules, numbers)
    study = fetch_study(store, by, sites, blocks, depths_cm, until)
    return compare(study, chosen, until, bounds=bounds)


def choose_rules(store: Store, names: Collection[str], numbers: Numbers) -> list[WindowRule]:
    """Return the rule sets named, each with every combination of the numbers; as for `windows`."""
    with reading(store.engine) as connection:
        known = fetch_rules(connection)
    _need("rule set", names, known)
    return [one for name in names for one in vary(known[name], numbers)]


def root_zone(
    store: Store,
    *,
    by: By = "block",
    sites: Collection[str] = (),
    blocks: Collection[str] = (),
    depths_cm: Collection[float] = (),
    as_of: date | None = None,
) -> pd.DataFrame:
    """Return the daily means that windows rest on, a row for each place and day with a value.

    Parameters and errors as for `windows`. Columns: site, block, depth_cm, day, mean_c, error_c.
    """
    return list_days(fetch_study(store, by, sites, blocks, depths_cm, as_of or yesterday()))


def yesterday() -> date:
    """Return the last day that has ended in UTC."""
    return datetime.now(UTC).date() - timedelta(days=1)


def fetch_study(
    store: Store,
    by: By,
    sites: Collection[str],
    blocks: Collection[str],
    depths_cm: Collection[float],
    until: date,
) -> StudyDays:
    """Return the daily means of places up to a day, none of a kind named being all; errors as
    for `windows`."""
    accuracy_c = store.settings.sensor_accuracy_c
    with reading(store.engine) as connection:
        _need("site", sites, {one.id for one in fetch_archive_sites(connection)})
        if by == "depth":
            return fetch_depths(connection, sites, depths_cm, until, accuracy_c)
        known = fetch_blocks(connection)
        _need("block", blocks, {one.id for one in known})
        chosen = [
            one
            for one in known
            if (not sites or one.site_id in sites) and (not blocks or one.id in blocks)
        ]
        return fetch_root_zones_of(connection, chosen, until, accuracy_c)


def _need(noun: str, names: Collection[str], known: Collection[str]) -> None:
    """Raise where something is named that is not there."""
    for name in sorted(set(names) - set(known)):
        there_are = ", ".join(sorted(known)) or "none yet, run setup first"
        raise LookupError(f"no {noun} '{name}'; known: {there_are}")
