"""What several commands share: options, an output in three forms, blocks by their ids."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from textwrap import indent, wrap
from typing import Any, TypeVar

import click
from sqlalchemy import Connection

from service.csv_cells import guard_cells
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.region import fetch_district_names
from service.settings import Settings
from service.store.blocks import Block, fetch_blocks

WIDTH = 80

Command = TypeVar("Command", bound=Callable[..., Any])


class _Day(click.ParamType[date]):
    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Return the day that YYYY-MM-DD names."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"'{value}' is no date; write it as 2026-04-30", param, ctx)


DAY = _Day()


class _Instant(click.ParamType[datetime]):
    name = "time"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        """Return the instant that a time with its offset names."""
        try:
            instant = datetime.fromisoformat(value)
        except ValueError:
            instant = None
        if instant is None or instant.tzinfo is None:
            self.fail(f"'{value}' is no time with its offset; 2026-04-30T09:00Z is", param, ctx)
        return instant.astimezone(UTC)


instant_type = _Instant()


class _Share(click.ParamType[float]):
    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the share that "5%" or "0.05" names: above none, at most all; a nan is neither."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
        except ValueError:
            self.fail(f"'{value}' is no share; write it as 5% or 0.05", param, ctx)
        if not 0.0 < share <= 1.0:
            self.fail(f"'{value}' is not above 0 and at most 100%", param, ctx)
        return share


SHARE = _Share()


def as_of_option(command: Command) -> Command:
    """Add --as-of DATE."""
    text = "The last day that counts; yesterday at each site unless given."
    return click.option("--as-of", type=DAY, metavar="DATE", help=text)(command)


def format_options(command: Command) -> Command:
    """Add --json and --csv, passed on as `form`."""
    for form in ("csv", "json"):
        text = f"Print {form.upper()} instead of a table."
        command = click.option(f"--{form}", "form", flag_value=form, help=text)(command)
    return command


def unit_option(command: Command) -> Command:
    """Add --unit F|C."""
    choice = click.Choice(["F", "C"], case_sensitive=False)
    return click.option("--unit", type=choice, default="F", show_default=True)(command)


def check_line(_: click.Context, param: click.Parameter, value: str) -> str:
    """Refuse a text that shows nothing, or is not all in one line."""
    if not value.strip() or not value.isprintable():
        raise click.BadParameter("write at least one visible character, in one line", param=param)
    return value.strip()


def person_option(command: Command) -> Command:
    """Add --by NAME, passed on as `person`."""
    text = "Who says so; it is kept and shown."
    by = click.option(
        "--by", "person", metavar="NAME", required=True, callback=check_line, help=text
    )
    return by(command)


def why_option(command: Command) -> Command:
    """Add --why TEXT."""
    text = "The reason; it is kept and shown."
    why = click.option("--why", metavar="TEXT", required=True, callback=check_line, help=text)
    return why(command)


def print_records(
    records: Iterable[Mapping[str, Any]], form: str, columns: Collection[str]
) -> None:
    """Print records as one JSON list, or as CSV with these columns."""
    if form == "json":
        before = "[\n"
        for one in records:
            click.echo(before + indent(json.dumps(one, indent=2), "  "), nl=False)
            before = ",\n"
        click.echo("[]" if before == "[\n" else "\n]")
        return
    writer = csv.DictWriter(sys.stdout, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(guard_cells(one) for one in records)


def wrap_text(text: str, indent: int) -> list[str]:
    """Return a paragraph as lines that fit, a long word too."""
    return wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 4))


def evaluate_named(
    connection: Connection,
    settings: Settings,
    block_id: str | None,
    as_of: date | None,
    measured_too: bool = False,
) -> list[BlockEvaluation]:
    """Evaluate one block, or all, over all their seasons."""
    named = [block_id] if block_id else []
    return evaluate_several(connection, settings, named, as_of, measured_too)


def fetch_named(connection: Connection, block_ids: Collection[str]) -> list[Block]:
    """Return the blocks named, or all."""
    blocks = fetch_blocks(connection, block_ids)
    unknown = set(block_ids) - {block.id for block in blocks}
    if unknown:
        known = ", ".join(sorted(block.id for block in fetch_blocks(connection)))
        raise click.BadParameter(
            f"there is no block '{min(unknown)}'; known: {known or 'none yet, run setup first'}",
            param_hint="--block",
        )
    return blocks


def evaluate_several(
    connection: Connection,
    settings: Settings,
    block_ids: Collection[str],
    as_of: date | None,
    measured_too: bool = False,
) -> list[BlockEvaluation]:
    """Evaluate the blocks named, or all, over all their seasons.

    Measured too: a block that is carried is followed by itself as its probes lie.
    """
    blocks = fetch_named(connection, block_ids)
    if measured_too:
        measured = {block: replace(block, ground=None) for block in blocks}
        blocks = [each for block in blocks for each in dict.fromkeys([block, measured[block]])]
    now = datetime.now(UTC)
    days = [as_of or as_of_day(block, now) for block in blocks]
    return evaluate_blocks(connection, blocks, days, None, settings.sensor_accuracy_c)


out_file = click.Path(dir_okay=False, path_type=Path)
"""The type of a file that a command writes."""


def write_out(path: Path, text: str, *, aside: bool = False) -> None:
    """Write a file of a command's own, its folder too, line ends as they are; say that it is.

    Aside: on the error stream, where the output is for programs.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode())
    except OSError as error:
        why = f"cannot write {path}: {error.strerror}; name another file"
        raise click.ClickException(why) from None
    click.echo(f"wrote {path}", err=aside)


def district_option(command: Command) -> Command:
    """Add --district ID, passed on as `district_id`."""
    text = "One district; all unless given."
    return click.option("--district", "district_id", metavar="ID", help=text)(command)


def evaluate_district(
    connection: Connection,
    settings: Settings,
    district_id: str | None,
    as_of: date | None,
    seasons: int = 1,
) -> list[BlockEvaluation]:
    """Evaluate the blocks of a district, or all, over the season of their day and those before."""
    names = fetch_district_names(connection)
    if district_id is not None and district_id not in names:
        known = ", ".join(sorted(names)) or "none"
        raise click.BadParameter(
            f"there is no district '{district_id}'; known: {known}", param_hint="--district"
        )
    blocks = fetch_blocks(connection)
    chosen = [one for one in blocks if district_id in (None, one.district_id)]
    now = datetime.now(UTC)
    days = [as_of or as_of_day(block, now) for block in chosen]
    if not chosen:
        return []
    return evaluate_blocks(connection, chosen, days, seasons, settings.sensor_accuracy_c)
