"""digseason outlook"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import click

from alerts.expectations import LIKELY, Expectation, tell_expected
from alerts.figures import show_neighbours
from alerts.outlook.dates import Outlook
from alerts.rules import WindowRule
from probes.units import Unit
from service.cli.options import (
    as_of_option,
    fetch_named,
    format_options,
    print_records,
    unit_option,
    wrap_text,
)
from service.evaluation import as_of_day
from service.outlooks import BlockOutlook, find_block_outlooks
from service.rule_sets import fetch_rules
from service.showing import Record, day_text
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "block",
    "issued_on",
    "season",
    "kind",
    "event",
    "chance",
    "chance_by_now",
    "chance_7_d",
    "chance_14_d",
    "p10",
    "p50",
    "p90",
    "warm_first",
    "warm_last",
    "warm_peak_on",
    "last_day",
    "basis",
    "curve_of",
    "borrowed_from",
    "air_issued_on",
    "why_not",
)


@click.command("outlook")
@click.option("--block", "block_id", metavar="ID", help="One block; all unless given.")
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(
    data: Path, block_id: str | None, as_of: date | None, unit: Unit, form: str | None
) -> None:
    """Show when windows will likely open and close, and with which chances.

    Likely means: eight times in ten, the days named included. Made anew, and not kept; a round
    keeps one for each block and day.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        blocks = fetch_named(connection, [block_id] if block_id else [])
        rules = fetch_rules(connection)
        now = datetime.now(UTC)
        days = [as_of or as_of_day(block, now) for block in blocks]
        found = find_block_outlooks(connection, blocks, days, settings.sensor_accuracy_c)
    if form:
        print_records(_records(found), form, COLUMNS)
        return
    if not found:
        click.echo("No blocks yet. Begin with: digseason setup FARM.toml")
    for one in found:
        click.echo("\n".join([*_block_lines(one, rules[one.block.rule], unit), ""]))
    if found:
        click.echo("An outlook is no reading: the days named hold about eight times in ten.")


def _block_lines(one: BlockOutlook, rule: WindowRule, unit: Unit) -> list[str]:
    lines = [f"{one.block.name} ({one.block.id}), {one.block.site_name}"]
    if one.outlook is None:
        return [*lines, *wrap_text(f"no outlook: {one.why_not}", 2)]
    neighbour, is_station = None, False
    if one.neighbour:
        neighbour, is_station = one.neighbour.name, one.neighbour.is_station
    expected = Expectation(
        one.outlook, rule, neighbour, is_station, one.borrowed, one.air_issued_on
    )
    lines += [f"  {_basis(one.outlook)}", f"  {one.basis}"]
    for sentence in tell_expected(expected, "en", unit):
        lines += wrap_text(sentence, 2)
    return [*lines, *_chance_lines(one.outlook)]


def _basis(outlook: Outlook) -> str:
    last = f"last readings {day_text(outlook.last_day)}" if outlook.last_day else "no readings yet"
    return f"season {outlook.season} as of {day_text(outlook.issued_on)}, {last}"


def _chance_lines(outlook: Outlook) -> Iterator[str]:
    """Yield the chances of what is next, as far as they are not settled."""
    opens, closes = outlook.opens, outlook.closes
    if opens and opens.by_now >= LIKELY:
        yield f"  chance that it is open now {outlook.open_now:.0%}"
        return
    chances, verb = (opens, "opens") if opens else (closes, "closes")
    if chances.chance > 0 and chances.by_now < 1:
        yield (
            f"  chance that it {verb} within 7 days {chances.within_7_d:.0%}, "
            f"14 days {chances.within_14_d:.0%}, in season {outlook.season} {chances.chance:.0%}"
        )


def _records(found: Iterable[BlockOutlook]) -> Iterator[Record]:
    """Yield a record for each event that is awaited; where there is no outlook, why not."""
    for one in found:
        head = {"block": one.block.id, "issued_on": one.issued_on.isoformat()}
        if one.outlook is None:
            yield dict.fromkeys(COLUMNS) | head | {"why_not": one.why_not}
            continue
        outlook, weeks = one.outlook, one.outlook.warm_weeks
        for event, chances in (("opens", outlook.opens), ("closes", outlook.closes)):
            if chances:
                yield (
                    dict.fromkeys(COLUMNS)
                    | head
                    | {
                        "season": outlook.season,
                        "kind": outlook.kind,
                        "event": event,
                        "chance": chances.chance,
                        "chance_by_now": chances.by_now,
                        "chance_7_d": chances.within_7_d,
                        "chance_14_d": chances.within_14_d,
                        "p10": _iso(chances.p10),
                        "p50": _iso(chances.p50),
                        "p90": _iso(chances.p90),
                        "warm_first": _iso(weeks and weeks.first),
                        "warm_last": _iso(weeks and weeks.last),
                        "warm_peak_on": _iso(weeks and weeks.peak_on),
                        "last_day": _iso(outlook.last_day),
                        "basis": one.basis,
                        "air_issued_on": _iso(one.air_issued_on),
                        "curve_of": one.curve_of,
                        "borrowed_from": show_neighbours(one.borrowed, "en") or None,
                    }
                )


def _iso(day: date | None) -> str | None:
    return day and day.isoformat()
