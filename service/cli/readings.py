"""digseason readings"""

from __future__ import annotations

import csv
import math
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from service.logger_readings import LoggerReadings, iterate_readings
from service.store.engine import reading
from service.store.frozen import describe_frozen
from service.store.loggers import Logger, UnknownLoggerError, fetch_logger
from service.wiring import open_store

COLUMNS = ("observed_at", "depth_cm", "soil_temp_c", "flag")


@click.command("readings")
@click.option("--logger", "logger_id", metavar="ID", required=True)
@click.option("--depth", "depth_cm", metavar="CM", type=float, help="One depth; all unless given.")
@click.option("--csv", "as_csv", is_flag=True, help="Print the readings, as the logger has them.")
@click.option("--stamps", is_flag=True, help="With --csv: a column more, stamped_at.")
@click.pass_obj
def command(data: Path, logger_id: str, depth_cm: float | None, as_csv: bool, stamps: bool) -> None:
    """Print the readings of a logger in °C, or without --csv how many there are at each depth."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        try:
            logger = fetch_logger(connection, logger_id)
        except UnknownLoggerError as error:
            raise click.BadParameter(str(error), param_hint="--logger") from None
        chunks = iterate_readings(connection, logger)
        if depth_cm is not None:
            _refuse_unknown_depth(logger, depth_cm)
            chunks = (chunk.where(chunk.depth_cm == depth_cm) for chunk in chunks)
        if logger.frozen_before:
            click.echo(f"{logger.id}: {describe_frozen(logger.frozen_before)}", err=True)
        if as_csv:
            _print_csv(chunks, stamps)
        else:
            _print_table(chunks)


def _refuse_unknown_depth(logger: Logger, depth_cm: float) -> None:
    known = sorted({stretch.depth_cm for probe in logger.probes for stretch in probe.stretches})
    if depth_cm not in known:
        there_are = ", ".join(f"{known_cm:g}" for known_cm in known)
        raise click.BadParameter(
            f"{logger.id} has no probe at {depth_cm:g} cm; there are: {there_are}",
            param_hint="--depth",
        )


def _print_csv(chunks: Iterator[LoggerReadings], stamps: bool) -> None:
    """Print a line a reading; with `stamps` also what the logger had stamped, in UTC."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow([*COLUMNS, "stamped_at"] if stamps else COLUMNS)
    for chunk in chunks:
        depths = map(_depth_text, chunk.depth_cm.tolist())
        columns = [chunk.soil_temp_c.tolist(), chunk.flag.tolist()]
        if stamps:
            stamped_at = np.where(np.isnat(chunk.stamped_at), chunk.observed_at, chunk.stamped_at)
            columns.append(_instant_texts(stamped_at))
        writer.writerows(zip(_instant_texts(chunk.observed_at), depths, *columns, strict=True))


def _print_table(chunks: Iterator[LoggerReadings]) -> None:
    """Print how many readings there are at each depth, the first, and the latest in full."""
    counts: Counter[float] = Counter()
    first: dict[float, str] = {}
    latest: dict[float, str] = {}
    corrected = 0
    for chunk in chunks:
        corrected += int((~np.isnat(chunk.stamped_at)).sum())
        known_cm = np.nan_to_num(chunk.depth_cm, nan=np.inf)
        for depth_cm in np.unique(known_cm).tolist():
            of_depth = chunk.where(known_cm == depth_cm)
            instants = _instant_texts(of_depth.observed_at[[0, -1]])
            counts[depth_cm] += of_depth.flag.size
            first.setdefault(depth_cm, instants[0])
            value = f"{of_depth.soil_temp_c[-1]:.2f}"
            latest[depth_cm] = f"{instants[1]:<22}{value:>9}{of_depth.flag[-1]:>6}"
    click.echo(f"{'depth':>6}{'readings':>13}  {'first':<22}{'latest':<22}{'°C':>9}{'flag':>6}")
    for depth_cm, count in sorted(counts.items()):
        depth = f"{depth_cm:g}" if math.isfinite(depth_cm) else "-"
        click.echo(f"{depth:>6}{count:>13,}  {first[depth_cm]:<22}{latest[depth_cm]}")
    if corrected:
        click.echo(f"Of {corrected:,} the clock was corrected: --csv --stamps has what it showed")


def _instant_texts(instants: NDArray[np.datetime64]) -> list[str]:
    """Return instants as RFC 3339 has them, with fractions of a second only where there are any."""
    whole = (instants == instants.astype("datetime64[s]")).all()
    return np.datetime_as_string(instants, "s" if whole else "us", "UTC").tolist()


def _depth_text(depth_cm: float) -> str:
    """Return a depth; nothing for a reading from when its probe lay nowhere."""
    return "" if math.isnan(depth_cm) else f"{depth_cm:g}"
