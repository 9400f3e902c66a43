"""digseason digs days"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from textwrap import fill
from typing import Any, cast

import click

from alerts.calendar import write_feed
from alerts.card import short_cautions
from alerts.dig.crew_days import Crews
from alerts.dig.plan import find_dig_events, plan_words, tell_left, tell_window
from alerts.words import LANGUAGES
from service.cli.digs.blocks import write_file
from service.cli.options import (
    DAY,
    WIDTH,
    as_of_option,
    fetch_named,
    format_options,
    print_records,
)
from service.dig.days import CrewPlan, count_vines, find_days, plan_digs
from service.evaluation import as_of_day
from service.showing import Record, day_text
from service.store.engine import reading
from service.wiring import open_store

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
COLUMNS = ("day", "crew", "block", "vines", "window_first", "window_last", "expected", "why_not")
MOST_DAYS = 120


class _Wanted(click.ParamType[tuple[str, int | None]]):
    name = "id:vines"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, int | None]:
        """Return the block and the vines of "river-row:59"; None where only the block is named."""
        if isinstance(value, tuple):
            return value
        block_id, colon, count = str(value).rpartition(":")
        if not colon:
            return str(value), None
        if not (count.isdecimal() and 0 < int(count) <= 100_000):
            self.fail(f"'{value}' is no block and count of vines; write river-row:59", param, ctx)
        return block_id, int(count)


@click.command("days")
@click.option(
    "--block",
    "wanted",
    type=_Wanted(),
    multiple=True,
    metavar="ID[:VINES]",
    help="A block, and how many vines; all unless given.",
)
@click.option(
    "--vines",
    "each",
    type=click.IntRange(1, 100_000),
    default=12,
    show_default=True,
    help="In a block for which no number is given; at each weak patch, where it has any.",
)
@click.option("--crews", type=click.IntRange(1, 200), default=1, show_default=True)
@click.option(
    "--per-hour",
    type=click.FloatRange(0, 1000, min_open=True),
    required=True,
    help="Vines that one crew digs in an hour.",
)
@click.option(
    "--hours",
    type=click.FloatRange(0, 16, min_open=True),
    default=6.0,
    show_default=True,
    help="Of digging in a day.",
)
@click.option("--off", type=click.Choice(WEEKDAYS), multiple=True, help="A day without digging.")
@click.option("--from", "first", type=DAY, metavar="DATE", help="The day after --as-of.")
@click.option("--days", "span", type=click.IntRange(1, MOST_DAYS), default=42, show_default=True)
@click.option("--ics", type=click.Path(dir_okay=False, path_type=Path), help="Write a calendar.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a sheet.")
@click.option("--language", type=click.Choice(LANGUAGES), default="en", help="Of both files.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4")
@as_of_option
@format_options
@click.pass_obj
def days_command(
    data: Path,
    wanted: tuple[tuple[str, int | None], ...],
    each: int,
    crews: int,
    per_hour: float,
    hours: float,
    off: tuple[str, ...],
    first: date | None,
    span: int,
    ics: Path | None,
    pdf: Path | None,
    language: str,
    paper: str,
    as_of: date | None,
    form: str | None,
) -> None:
    """Tell which crew digs which block on which day, before its window closes.

    A crew is in one block a day. Windows not open yet are planned by their outlook where they are
    more likely than not to open: plan again once they have.
    """
    vines_a_day = int(per_hour * hours + 1e-9)
    if vines_a_day < 1:
        raise click.UsageError("a crew digs less than one vine a day; raise --per-hour or --hours")
    settings, engine = open_store(data)
    now = datetime.now(UTC)
    given = dict(wanted)
    with reading(engine) as connection:
        blocks = fetch_named(connection, list(given))
        until = [as_of or as_of_day(block, now) for block in blocks]
        vines = {one.id: given.get(one.id) or count_vines(connection, one, each) for one in blocks}
        if not blocks:
            raise click.UsageError("no blocks yet; begin with: digseason setup FARM.toml")
        begin = first or max(until) + timedelta(days=1)
        days = find_days(begin, span, [WEEKDAYS.index(day) for day in off])
        if not days:
            raise click.UsageError("--off leaves no day to dig on; name fewer, or raise --days")
        plan = plan_digs(
            connection,
            blocks,
            until,
            vines,
            days,
            Crews(crews, vines_a_day),
            settings.sensor_accuracy_c,
        )
    if ics is not None:
        places = {one.id: (one.name, one.site_name) for one in blocks}
        events = find_dig_events(plan.days, places, language, plan.as_of, now)
        name = plan_words(language).title
        write_file(ics, write_feed(events, name, now).encode())
    if pdf is not None:
        from service.sheets.pages import Paper
        from service.sheets.plan_sheet import print_plan

        write_file(pdf, print_plan(plan, language, cast(Paper, paper)))
    if form:
        print_records(_records(plan), form, COLUMNS)
        return
    click.echo("\n".join(_lines(plan)))


def _records(plan: CrewPlan) -> Iterator[Record]:
    """Yield crew days; then vines that find no place and blocks without a window, without a day."""
    empty = dict.fromkeys(COLUMNS)
    for one in plan.days:
        yield {
            "day": one.day.isoformat(),
            "crew": one.crew,
            "block": one.job.block_id,
            "vines": one.vines,
            "window_first": one.job.first.isoformat(),
            "window_last": one.job.last.isoformat(),
            "expected": int(one.job.expected),
            "why_not": None,
        }
    for block_id, vines in plan.left.items():
        why_not = "no crew is free before the window closes"
        yield {**empty, "block": block_id, "vines": vines, "why_not": why_not}
    for block_id, why_not in plan.why_not.items():
        yield {**empty, "block": block_id, "why_not": why_not}


def _lines(plan: CrewPlan) -> Iterator[str]:
    if plan.days:
        yield f"{'day':<17}{'crew':<6}{'block':<22}{'vines':>5}  window"
    for one in plan.days:
        block = plan.blocks[one.job.block_id]
        day = f"{one.day:%a} {day_text(one.day)}"
        window = tell_window(one, "en", plan.as_of)
        if one.job.expected:
            window = f"expected {one.job.first.day} {one.job.first:%b}"
        yield f"{day:<17}{one.crew:<6}{block.name[:21]:<22}{one.vines:>5}  {window}"
    if not plan.days:
        yield plan_words("en").nothing
    for block_id, vines in plan.left.items():
        yield ""
        yield fill(tell_left(plan.blocks[block_id].name, vines, "en"), WIDTH)
    if plan.why_not:
        yield ""
    for block_id, why_not in plan.why_not.items():
        text = f"{plan.blocks[block_id].name}: no window to plan for, {why_not}."
        yield fill(text, WIDTH, subsequent_indent="    ")
    yield ""
    yield short_cautions("en")
