"""digseason compare"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta
from functools import partial
from itertools import chain
from math import isnan
from pathlib import Path
from textwrap import fill
from typing import Any, cast

import click
import numpy as np
import pandas as pd

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.study.estimates import LEAST_SEASONS, Difference, Trend
from alerts.variants import ContradictionError, Numbers, vary
from probes.units import Unit, f_to_c
from service.bench import By, Store, choose_rules, fetch_study, yesterday
from service.cli.options import WIDTH, as_of_option, format_options, print_records, unit_option
from service.cli.progress import progress_bar
from service.cli.whatif import Several
from service.csv_cells import iterate_csv
from service.settings import Settings
from service.showing import Record
from service.study.archive import ArchiveError, ArchiveStudy, SomeCompared, Table, list_sites
from service.study.cluster import compare_archive
from service.study.folder import REPORT, write_openings, write_study
from service.study.report import Found
from service.study.summaries import (
    VARIANT,
    Key,
    PlaceDifference,
    Summary,
    find_differences,
    pair_places,
    summarise,
    tell_pairing,
)
from service.study.windows import COLUMNS, compare
from service.study.words import (
    name_place,
    show_days,
    show_difference,
    show_middle,
    show_trend,
)
from service.wiring import open_store

SHOWN_SEASONS = 3
_NAME, _CELL = 24, 14
_ROWS_AT_ONCE = 5_000
_NOTHING = (
    "there is no day that counts yet: import readings first; where they come less often than every "
    "hour, the farm file says so by interval_min"
)


@click.command("compare")
@click.option("--by", type=click.Choice(["block", "depth"]), default="block", show_default=True)
@click.option("--site", "sites", metavar="ID", multiple=True, help="All unless given.")
@click.option("--block", "blocks", metavar="ID", multiple=True, help="All unless given.")
@click.option("--depths", type=Several(0, 1000), default=None, help="In cm; all unless given.")
@click.option("--open-f", type=Several(14, 140), default=None, help="Spring opens at, in °F.")
@click.option("--open-c", type=Several(-10, 60), default=None, help="Spring opens at, in °C.")
@click.option("--margin-c", type=Several(0, 20), default=None, help="The margin, in °C.")
@click.option("--mean-days", type=Several(1, 31, whole=True), default=None, help="Of the mean.")
@click.option(
    "--rule", "rules", metavar="NAME", multiple=True, help="grape-phylloxera unless given."
)
@click.option("--bounds", is_flag=True, help="Find how far errors move openings too.")
@click.option(
    "--archive",
    metavar="DIR",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Compare the depths of an archive that `export` wrote, instead of the store.",
)
@click.option("--from-readings", is_flag=True, help="Of an archive: make daily means anew.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="Of a Dask cluster, for archives.")
@click.option("--workers", type=click.IntRange(1, 256), default=1, show_default=True)
@click.option(
    "--to",
    "folder",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write tables with a data dictionary, figures and a report to a folder; of an archive the "
    "table with its dictionary.",
)
@click.option(
    "--note",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A text for what --to writes: where the data are from, and under which licence.",
)
@click.option(
    "--against",
    default="",
    metavar="ID",
    help="A block to hold others against, or a site with --by depth: depths by the same depth.",
)
@unit_option
@as_of_option
@format_options
@click.pass_obj
def command(
    data: Path,
    by: By,
    sites: tuple[str, ...],
    blocks: tuple[str, ...],
    depths: list[float] | None,
    open_f: list[float] | None,
    open_c: list[float] | None,
    margin_c: list[float] | None,
    mean_days: list[int] | None,
    rules: tuple[str, ...],
    bounds: bool,
    archive: Path | None,
    from_readings: bool,
    scheduler: str,
    workers: int,
    folder: Path | None,
    note: Path | None,
    against: str,
    unit: Unit,
    as_of: date | None,
    form: str | None,
) -> None:
    """Compare openings across places, depths, seasons, thresholds and rule sets.

    Every place follows the same rule. Several numbers with commas in between, such as
    --open-f 60,62,64; of several options each combination is tried. Archives are read some sites
    at a time, by as many processes as --workers says or by a cluster's.
    """
    if not archive and (from_readings or scheduler or workers > 1):
        raise click.UsageError("--from-readings, --scheduler and --workers are for --archive")
    if archive and (blocks or rules):
        raise click.UsageError("--block and --rule are for the store, not for an archive")
    if note and not folder:
        raise click.UsageError("--note is for what --to writes")
    numbers = Numbers(
        [*map(f_to_c, open_f or ()), *(open_c or ())], margin_c or (), mean_days or ()
    )
    until = as_of or yesterday()
    told = _read(note) if note else ""
    where = {"by": "depth" if archive else by, "sites": sites, "blocks": blocks, "depths": depths}
    asked = {
        "asked": "; ".join(f"{name} {_list(of or ())}" for name, of in where.items()),
        "as of": str(until),
        "errors of temperatures": "heeded" if bounds else "not heeded",
    }
    try:
        if archive:
            study = ArchiveStudy(
                archive.absolute(),
                vary(GRAPE_PHYLLOXERA, numbers),
                until,
                "readings" if from_readings else "daily",
                depths or (),
                bounds,
                Settings(data=data).sensor_accuracy_c,
            )
            there = list_sites(study.folder, study.source, sites)
            part = partial(study.part_sites, there)
            faults: list[str] = []
            if folder or form == "csv":
                found = compare_archive(study.compare_sites_as_csv, part, scheduler, workers)
                texts = _keep_faults(found, faults)
                if folder:
                    asked |= study.describe(there)
                    write = partial(write_openings, folder, texts, study.rules, asked, told, faults)
                    _write(folder, write)
                else:
                    for text in chain([",".join(COLUMNS) + "\n"], texts):
                        click.echo(text, nl=False)
            else:
                parts = compare_archive(study.compare_sites, part, scheduler, workers)
                _show(_keep_faults(parts, faults), form, against)
            if faults:
                are = "is" if len(faults) == 1 else "are"
                text = f"{len(faults)} of {len(there)} sites {are} left out: see above"
                raise click.ClickException(text)
            return
        settings, engine = open_store(data)
        store = Store(engine, settings)
        named = rules or (GRAPE_PHYLLOXERA.name,)
        chosen = choose_rules(store, named, numbers)
        days = fetch_study(store, by, sites, blocks, depths or (), until)
        frame = compare(days, chosen, until, bounds=bounds)
        if not folder or frame.empty:
            _show([frame], form, against)
            return
        asked |= {
            "accuracy of sensors": f"{settings.sensor_accuracy_c:g} °C",
            "held against": against or "the shallowest depth of the site",
            "unit of figures": f"°{unit}",
        }
        comparison = Found(days, frame, chosen, until, asked, against)
        with progress_bar(folder.name) as progress:
            _write(folder, partial(write_study, folder, comparison, told, unit, progress))
    except (LookupError, ContradictionError, ArchiveError) as error:
        raise click.UsageError(str(error.args[0])) from None


def _read(note: Path) -> str:
    try:
        return note.read_text("utf-8")
    except UnicodeDecodeError as error:
        text = f"{note} is no UTF-8 text, at byte {error.start}; save it as UTF-8"
        raise click.BadParameter(text, param_hint="--note") from None


def _write(folder: Path, write: Callable[[], Sequence[Path]]) -> None:
    try:
        written = write()
    except OSError as error:
        text = f"{folder} cannot be written: {error.strerror}"
        raise click.BadParameter(text, param_hint="--to") from None
    if not written:
        raise click.ClickException(_NOTHING)
    report = "".join(f"; begin with {path}" for path in written if path.name == REPORT)
    click.echo(f"{folder}: {len(written)} files{report}")


def _list(asked: object) -> str:
    """Return what was asked for, none being all."""
    if isinstance(asked, str | date):
        return str(asked)
    return ", ".join(map(str, cast("Sequence[object]", asked))) or "all"


def _keep_faults(parts: Iterable[SomeCompared[Table]], faults: list[str]) -> Iterator[Table]:
    """Yield the tables of parts; tell and keep why sites are left out."""
    for part in parts:
        for fault in part.faults:
            click.echo(fault, err=True)
        faults += part.faults
        yield part.table


def _show(frames: Iterable[Any], form: str | None, against: str) -> None:
    """Print frames: as records while they come, or as tables once all are there."""
    if form == "csv":
        for text in chain.from_iterable(map(iterate_csv, frames)):
            click.echo(text, nl=False)
        return
    if form:
        print_records(chain.from_iterable(map(_iterate_records, frames)), form, COLUMNS)
        return
    found = [frame for frame in frames if not frame.empty]
    if not found:
        raise click.ClickException(_NOTHING)
    for line in _tell(pd.concat(found, ignore_index=True), against):
        click.echo(line)


def _iterate_records(frame: Any) -> Iterator[Record]:
    dates = frame.select_dtypes("datetime").columns
    plain = frame.assign(**{name: frame[name].dt.strftime("%Y-%m-%d") for name in dates})
    for first in range(0, len(plain), _ROWS_AT_ONCE):
        rows = plain.iloc[first : first + _ROWS_AT_ONCE]
        yield from rows.astype(object).where(rows.notna(), None).to_dict("records")


def _tell(frame: Any, against: str) -> Iterator[str]:
    """Yield the table of each rule and kind, then what its seasons say together."""
    summaries = list(summarise(frame))
    differences = list(find_differences(frame, pair_places(frame, against)))
    for variant in dict.fromkeys(one.variant for one in summaries):
        of_variant = [one for one in summaries if one.variant == variant]
        yield from _show_variant(frame, variant, of_variant)
        yield from _tell_trends(of_variant)
        moved = [
            _tell_difference(one, one.difference)
            for one in differences
            if one.variant == variant and one.difference
        ]
        if moved:
            yield f"{tell_pairing(against)}:"
            yield from [*moved, ""]
    yield fill(
        "A range is that of a gap in the readings. Not seen: days are missing on which it may have "
        "opened. Not reached: it did not open, with all days seen. Such seasons count in the "
        "middle as far as they were seen.",
        WIDTH,
    )


def _show_variant(frame: Any, variant: Key, summaries: Sequence[Summary]) -> Iterator[str]:
    rule, opens_f, _, margin_f, mean_days, kind = variant
    text = f"{rule}: {kind}, spring opens at {opens_f:g} °F, margin {margin_f:g} °F"
    yield f"{text}, mean of {mean_days} days"
    rows = frame[
        np.logical_and.reduce(
            [frame[name] == of for name, of in zip(VARIANT, variant, strict=True)]
        )
    ]
    seasons = sorted(rows["season"].unique().tolist())
    shown = seasons[-SHOWN_SEASONS:]
    yield _row("", [*map(str, shown), "half by"])
    for one in summaries:
        of_place = rows[_is_place(rows, one.place)].set_index("season")
        cells = [
            _show_opening(of_place.loc[year]) if year in of_place.index else "" for year in shown
        ]
        yield _row(name_place(one.place), [*cells, show_middle(one.middle, one.south)])
    if len(seasons) > len(shown):
        yield f"{len(seasons) - len(shown)} earlier seasons: --csv"
    yield ""


def _row(name: str, cells: Sequence[str]) -> str:
    return (f"{name:{_NAME}}" + "".join(f"{cell:{_CELL}}" for cell in cells)).rstrip()


def _is_place(rows: Any, place: Key) -> Any:
    site, block, depth_cm = place
    same = rows["depth_cm"].isna() if isnan(depth_cm) else rows["depth_cm"] == depth_cm
    return (rows["site"] == site) & (rows["block"] == block) & same


def _show_opening(season: Any) -> str:
    if season["outcome"] != "opened":
        return str(season["outcome"])
    return show_days(season["after"] + timedelta(days=1), season["opened_on"])


def _tell_trends(summaries: Sequence[Summary]) -> Iterator[str]:
    if any(one.trend for one in summaries):
        yield "With the years, by Theil and Sen, and Mann and Kendall:"
        for one in summaries:
            if one.trend:
                yield from _tell_trend(one, one.trend)
    else:
        yield fill(
            f"No trend is told: no place has {LEAST_SEASONS} seasons whose opening is known to the "
            "day, and with fewer none can be told from chance.",
            WIDTH,
        )
    yield ""


def _tell_trend(one: Summary, trend: Trend) -> Iterator[str]:
    slope, rest = show_trend(trend).split("), ")
    yield f"  {name_place(one.place):{_NAME - 2}}{slope})"
    yield f"{'':{_NAME}}{rest}"


def _tell_difference(one: PlaceDifference, found: Difference) -> str:
    return f"  {name_place(one.place):{_NAME - 2}}{show_difference(found)}"
