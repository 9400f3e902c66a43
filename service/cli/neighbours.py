"""digseason neighbours"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from itertools import compress
from math import isnan, sqrt
from pathlib import Path

import click

from alerts.figures import show_error, show_list, show_source
from alerts.notices import NeighbourSource
from probes.units import Unit
from service.cli.options import (
    as_of_option,
    evaluate_several,
    fetch_named,
    format_options,
    print_records,
    unit_option,
    wrap_text,
)
from service.evaluation import BlockEvaluation, as_of_day, find_neighbours
from service.leaving_out import LeftOut, Opening, leave_out
from service.showing import Record, count_text, day_text
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    *("block", "measured", "neighbours", "error_c", "days", "bias_c", "off_c"),
    *("season", "kind", "measured_on", "borrowed_on", "borrowed_earliest", "borrowed_latest"),
)


@click.command("neighbours")
@click.option("--block", "block_id", metavar="ID", help="One block; all unless given.")
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(
    data: Path, block_id: str | None, as_of: date | None, unit: Unit, form: str | None
) -> None:
    """Show whom blocks without probes borrow from, and how far off borrowing is.

    Each block with probes is left out in turn: told from its neighbours as if it had none, and
    compared with what it measured over the last year.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        named = [block_id] if block_id else []
        blocks = fetch_named(connection, named)
        evaluations = evaluate_several(connection, settings, named, as_of)
        now = datetime.now(UTC)
        measured = [block for block in blocks if block.lenders and block.is_probed]
        days = [as_of or as_of_day(block, now) for block in measured]
        left_out = leave_out(connection, measured, days, settings.sensor_accuracy_c)
    borrowing = [one for one in evaluations if not one.block.is_probed and one.block.borrows]
    if form:
        print_records([*_borrowing_records(borrowing), *_records(left_out)], form, COLUMNS)
        return
    for one in borrowing:
        click.echo("\n".join([*_borrowing_lines(one, unit), ""]))
    for one in left_out:
        click.echo("\n".join([*_left_out_lines(one, unit), ""]))
    click.echo("\n".join(_sum_up(left_out, unit)))


def _borrowing_lines(one: BlockEvaluation, unit: Unit) -> list[str]:
    lines = [f"{one.block.name} ({one.block.id}), {one.block.site_name}"]
    source = _latest_source(one)
    if source is None or source.error_c is None or one.borrowed is None:
        return [*lines, "  has no probes, and no neighbour that lends"]
    told = f"{show_source(source, 'en')}, give or take {show_error(source.error_c, unit, 'en')}"
    lines += wrap_text(told, 2)
    left_out_c = one.borrowed.left_out_c[:, -1].tolist()
    shown = [
        f"{lender.name} {show_error(off_c, unit, 'en')}"
        for lender, off_c in zip(one.block.lenders, left_out_c, strict=True)
        if not isnan(off_c)
    ]
    told = f"each of them, told from the others: {show_list(shown, 'en')} off" if shown else ""
    return [*lines, *wrap_text(told or "no two of them to compare: the usual error", 2)]


def _latest_source(one: BlockEvaluation) -> NeighbourSource | None:
    """Return whom the latest day of a block was borrowed from."""
    zone = one.root_zone
    on = list(compress(zone.day.tolist(), zone.borrowed.tolist()))
    return find_neighbours(one, on[-1]) if on else None


def _left_out_lines(one: LeftOut, unit: Unit) -> Iterator[str]:
    yield f"{one.block.name} ({one.block.id}), {one.block.site_name}, left out"
    if one.neighbours is None or not one.days:
        error = "" if isnan(one.error_c) else show_error(one.error_c, unit, "en")
        told = f"its neighbours are too unlike to lend: give or take {error}"
        yield f"  {told if error else 'no neighbour has readings of the same days'}"
        return
    yield from wrap_text(show_source(one.neighbours, "en"), 2)
    sign = "warm" if one.bias_c > 0 else "cold"
    yield (
        f"  {count_text(one.days, 'day')}: off by {show_error(one.off_c, unit, 'en')}, on average "
        f"{show_error(abs(one.bias_c), unit, 'en')} too {sign}; stated "
        f"{show_error(one.error_c, unit, 'en')}"
    )
    for opening in one.openings:
        yield f"  {_opening_text(opening)}"


def _opening_text(one: Opening) -> str:
    head = f"{one.season} {one.kind:<6}  {day_text(one.measured_on):<11}  "
    if one.borrowed_on is None or one.range is None:
        return f"{head}borrowed: it did not open"
    latest = one.range.latest
    until = day_text(latest) if latest else "later, or not at all"
    return f"{head}borrowed {day_text(one.borrowed_on)}, {day_text(one.range.earliest)} to {until}"


def _sum_up(found: Sequence[LeftOut], unit: Unit) -> Iterator[str]:
    compared = [one for one in found if one.days]
    if not compared:
        yield "No block with probes has a neighbour that could tell it."
        return
    off, stated = (
        show_error(sqrt(sum(value**2 for value in values) / len(compared)), unit, "en")
        for values in ([one.off_c for one in compared], [one.error_c for one in compared])
    )
    openings = [opening for one in compared for opening in one.openings]
    within = sum(opening.is_within for opening in openings)
    yield f"{count_text(len(compared), 'block')} left out in turn: off by {off}, stated {stated}."
    if openings:
        yield f"Of {count_text(len(openings), 'opening')} {within} lay within the days borrowed."


def _borrowing_records(found: Sequence[BlockEvaluation]) -> Iterator[Record]:
    for one in found:
        source = _latest_source(one)
        yield dict.fromkeys(COLUMNS) | {
            "block": one.block.id,
            "measured": 0,
            "neighbours": source and show_source(source, "en"),
            "error_c": source and source.error_c,
        }


def _records(found: Sequence[LeftOut]) -> Iterator[Record]:
    """Yield a record for each opening of a block that is left out, one where it has none."""
    for one in found:
        head: Record = {
            "block": one.block.id,
            "measured": 1,
            "neighbours": one.neighbours and show_source(one.neighbours, "en"),
            "days": one.days,
            "error_c": _number(one.error_c),
            "bias_c": _number(one.bias_c),
            "off_c": _number(one.off_c),
        }
        for opening in one.openings or [None]:
            yield dict.fromkeys(COLUMNS) | head | (_opening_record(opening) if opening else {})


def _opening_record(one: Opening) -> Record:
    return {
        "season": one.season,
        "kind": one.kind,
        "measured_on": one.measured_on.isoformat(),
        "borrowed_on": one.borrowed_on and one.borrowed_on.isoformat(),
        "borrowed_earliest": one.range and one.range.earliest.isoformat(),
        "borrowed_latest": one.range and one.range.latest and one.range.latest.isoformat(),
    }


def _number(value: float) -> float | None:
    return None if isnan(value) else value
