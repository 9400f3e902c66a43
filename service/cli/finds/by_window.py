"""digseason finds by-window"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from pathlib import Path
from textwrap import fill

import click

from alerts.dig.by_window import Rate, Side, find_difference, find_rates
from service.cli.options import DAY, WIDTH, fetch_named, format_options, print_records
from service.dig.by_window import place_digs
from service.dig.status import today_at
from service.showing import Record, count_text
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "by_lot",
    "by",
    "group",
    "digs",
    "finds",
    "suspected",
    "no_live_roots",
    "share",
    "share_low",
    "share_high",
)
FEW = 30
"""Under so many digs a side is called small. Common practice, no source."""


@click.command("by-window")
@click.option("--block", "block_ids", multiple=True, metavar="ID", help="One; all unless given.")
@click.option("--as-of", type=DAY, metavar="DATE", help="The last day that counts; today.")
@format_options
@click.pass_obj
def by_window_command(
    data: Path, block_ids: tuple[str, ...], as_of: date | None, form: str | None
) -> None:
    """Compare finds per dig inside and outside the windows, by root zone and days open.

    Vines drawn by lot and chosen ones stand apart; digs without live roots are left out and
    counted. Ranges are those of Wilson, 19 times in 20.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        blocks = fetch_named(connection, block_ids)
        until = {
            block_id: (as_of or today) - timedelta(days=1)
            for block_id, today in today_at(blocks, datetime.now(UTC)).items()
        }
        digs = place_digs(connection, blocks, until, settings.sensor_accuracy_c)
    rates = find_rates(digs)
    if form:
        print_records(map(_record, rates), form, COLUMNS)
        return
    if not digs:
        click.echo("Nothing was dug yet; digseason finds import brings what was found.")
        return
    click.echo("\n".join(_lines(rates)))


def _record(one: Rate) -> Record:
    low, high = one.range
    return {
        "by_lot": int(one.by_lot),
        "by": one.by,
        "group": one.group,
        "digs": one.digs,
        "finds": one.finds,
        "suspected": one.suspected,
        "no_live_roots": one.no_live_roots,
        "share": None if one.share is None else round(one.share, 4),
        "share_low": round(low, 4) if one.digs else None,
        "share_high": round(high, 4) if one.digs else None,
    }


def _lines(rates: Sequence[Rate]) -> Iterator[str]:
    for by_lot, of_kind in groupby(rates, key=lambda one: one.by_lot):
        rows = [*of_kind]
        counted = sum(one.digs + one.no_live_roots for one in rows if one.by == "window")
        kind = "drawn by lot" if by_lot else "chosen"
        yield f"Vines {kind}: {count_text(counted, 'dig')}"
        if counted:
            heads = f"{'digs':>5}{'finds':>6}{'suspected':>10}{'per dig':>8}"
            yield f"  {'':<26}{heads}  {'range':<12}no roots"
        for by, of_one in groupby(rows if counted else (), key=lambda one: one.by):
            shown = [one for one in of_one if by == "window" or one.digs or one.no_live_roots]
            for number, one in enumerate(shown):
                yield _line(one, by if not number else "")
        if counted:
            yield from ("", fill(_compare(rows), WIDTH))
        yield ""
    for text in (
        "No window and no temperature makes a block one without phylloxera: few finds outside "
        "may mean that it hides there, or that fewer dug.",
        "Ranges hold for digs that know nothing of each other. Vines of one block are alike, and "
        "chosen vines stand where a find was likeliest: the true ranges are wider, and chosen "
        "vines say nothing of the block.",
    ):
        yield fill(text, WIDTH)


def _line(one: Rate, heading: str) -> str:
    share = "-" if one.share is None else f"{one.share:.1%}"
    low, high = one.range
    bounds = f"{low:.0%} to {high:.0%}" if one.digs else ""
    return (
        f"  {heading:<11}{one.group:<15}{one.digs:>5}{one.finds:>6}{one.suspected:>10}{share:>8}  "
        f"{bounds:<12}{one.no_live_roots or ''}"
    ).rstrip()


def _compare(rows: Sequence[Rate]) -> str:
    """Return what inside and outside say beside each other, and what so few cannot say."""
    inside, outside, not_known = (
        next(one for one in rows if (one.by, one.group) == ("window", side)) for side in Side
    )
    unplaced = f" On neither side: {count_text(not_known.digs, 'dig')}." if not_known.digs else ""
    difference = find_difference(inside, outside)
    if difference is None:
        side = "inside" if not inside.digs else "outside"
        return f"Nothing was dug {side} a window: there is nothing to compare.{unplaced}"
    low, high = (f"{100 * one:+.0f}" for one in difference)
    told = f"Inside less outside: {low} to {high} points of finds per dig (Newcombe)."
    if difference[0] > 0:
        told += " These digs found more inside."
    elif difference[1] < 0:
        told += " These digs found more outside."
    else:
        told += " These digs do not tell one side from the other."
    smaller = min(inside.digs, outside.digs)
    if smaller < FEW:
        told += (
            f" With {count_text(smaller, 'dig')} on one side only a very large difference would "
            "show: no number of the rule should be moved by this."
        )
    return told + unplaced
