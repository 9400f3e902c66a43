"""digseason spread"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from textwrap import fill

import click

from alerts.dig.spread import FAST, PACES, SLOW, Growth
from alerts.dig.spread_words import explain_spread, show_share, show_times
from alerts.dig.status_words import tell_status
from service.cli.options import (
    DAY,
    SHARE,
    WIDTH,
    fetch_named,
    format_options,
    print_records,
    wrap_text,
)
from service.dig.spread import BlockSpread, find_spread
from service.dig.status import today_at
from service.showing import Record, day_text
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "block",
    "what",
    "since",
    "until",
    "vines_before",
    "vines_after",
    "times_a_year",
    "pace",
    "reach_m_a_year",
    "published_slow",
    "published_fast",
)


@click.command("spread")
@click.option("--block", "block_ids", multiple=True, metavar="ID", help="One; all unless given.")
@click.option(
    "--share",
    "shares",
    type=SHARE,
    multiple=True,
    default=[0.1, 0.25, 0.5],
    help="Of the block, whose year is told; 10%, 25% and 50% unless given.",
)
@click.option("--as-of", type=DAY, metavar="DATE", help="The last day that counts; today.")
@format_options
@click.pass_obj
def command(
    data: Path,
    block_ids: tuple[str, ...],
    shares: tuple[float, ...],
    as_of: date | None,
    form: str | None,
) -> None:
    """Tell how weak patches and finds have grown, and when they reach a share of a block.

    Weak vines are those of the surveys that `digseason patches` keeps, without patches that are
    set aside; finds are those of `digseason finds`. --json and --csv give the growth.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        blocks = fetch_named(connection, block_ids)
        today = today_at(blocks, datetime.now(UTC))
        until = {block_id: as_of or day for block_id, day in today.items()}
        found = find_spread(connection, blocks, until)
    if form:
        print_records((record for one in found for record in _records(one)), form, COLUMNS)
        return
    known = [one for one in found if one.affected or block_ids]
    for one in known:
        click.echo("\n".join([*_lines(one, shares), ""]))
    if not known:
        click.echo("No block has a weak patch that is kept, a suspicion or a find.\n")
    click.echo("\n\n".join(fill(text, WIDTH) for text in explain_spread("en")))


def _growths(one: BlockSpread, with_patches: bool = True) -> Iterator[tuple[str, Growth]]:
    yield from (("weak vines", growth) for growth in one.weak_growth)
    for number, of_patch in one.patch_growth.items() if with_patches else ():
        yield from ((f"patch {number}", growth) for growth in of_patch)
    yield from (("vines with a find", growth) for growth in one.found_growth)


def _records(one: BlockSpread) -> Iterator[Record]:
    for what, growth in _growths(one):
        times, reach_m = growth.times_a_year, growth.reach_m
        yield {
            "block": one.block.id,
            "what": what,
            "since": growth.before.day.isoformat(),
            "until": growth.after.day.isoformat(),
            "vines_before": len(growth.before.vines),
            "vines_after": len(growth.after.vines),
            "times_a_year": None if times is None else round(times, 3),
            "pace": growth.pace,
            "reach_m_a_year": None if reach_m is None else round(reach_m, 1),
            "published_slow": SLOW,
            "published_fast": FAST,
        }


def _lines(one: BlockSpread, shares: tuple[float, ...]) -> Iterator[str]:
    yield f"{one.block.name} ({one.block.id}), {one.block.site_name}"
    yield from wrap_text(tell_status(one.status, "en"), 2)
    yield from wrap_text(_tell_share(one), 2)
    growths = [*_growths(one, with_patches=len(one.patch_growth) > 1)]
    if growths:
        yield ""
        yield f"  {'what':<18}{'from':<13}{'to':<13}{'vines':<13}{'a year':<17}m a year"
    for what, growth in growths:
        vines = f"{len(growth.before.vines)} to {len(growth.after.vines)}"
        times, reach_m = growth.times_a_year, growth.reach_m
        a_year = "-" if times is None else f"x{show_times(times, 'en')} {growth.pace}"
        far = "-" if reach_m is None else f"{reach_m:.0f}"
        days = (day_text(day) for day in (growth.before.day, growth.after.day))
        yield f"  {what:<18}{''.join(f'{day:<13}' for day in days)}{vines:<13}{a_year:<17}{far}"
    if one.vines and one.affected:
        yield ""
        heads = (f"{pace} x{show_times(times, 'en')}" for pace, times in PACES.items())
        yield f"  {'reached in':<18}{''.join(f'{head:<13}' for head in heads)}".rstrip()
        for share in shares:
            years = one.find_years(share)
            told = [str(years[pace]) for pace in PACES] if years else ["reached"]
            yield f"  {f'{100 * share:g} %':<18}{''.join(f'{year:<13}' for year in told)}".rstrip()


def _tell_share(one: BlockSpread) -> str:
    if not one.affected:
        return "No vine is known to be weak or infested."
    weak = f"{len(one.weak.vines)} weak on {day_text(one.weak.day)}" if one.weak else ""
    shown = f"{len(one.status.vines)} with a find or a suspicion" if one.status.vines else ""
    told = " and ".join(filter(None, (weak, shown)))
    if one.vines is None or one.share is None:
        return (
            f"Vines: {told}. How many vines it has is not known; write vines in [[block]] "
            f"{one.block.id} of the farm file."
        )
    share = show_share(one.share, "en")
    return f"Of {one.vines:,} vines {told}: {len(one.affected)} together, {share}."
