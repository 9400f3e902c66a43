"""digseason replanting"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from textwrap import fill

import click

from alerts.dig.spread import PACES
from alerts.dig.spread_words import explain_replanting, explain_spread, show_share
from alerts.dig.status_words import name_standing
from alerts.news import sort_key
from service.cli.options import DAY, SHARE, WIDTH, fetch_named, format_options, print_records
from service.dig.spread import BlockSpread, find_spread
from service.dig.status import today_at
from service.showing import Record, day_text
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "block",
    "site",
    "name",
    "status",
    "since",
    "last_dug",
    "confidence",
    "planted",
    "age",
    "roots",
    "vines",
    "weak_vines",
    "weak_on",
    "found_vines",
    "share",
    "times_a_year",
    "pace",
    "target_share",
    "reached",
    "year_slow",
    "year_middle",
    "year_fast",
    "as_of",
)


@click.command("replanting")
@click.option("--block", "block_ids", multiple=True, metavar="ID", help="One; all unless given.")
@click.option(
    "--share", type=SHARE, default=0.25, help="Of the block, whose year is told; 25% unless given."
)
@click.option("--as-of", type=DAY, metavar="DATE", help="The last day that counts; today.")
@format_options
@click.pass_obj
def command(
    data: Path,
    block_ids: tuple[str, ...],
    share: float,
    as_of: date | None,
    form: str | None,
) -> None:
    """List what there is to decide on replanting by: status, age, roots, share, years.

    Blocks stand by site and name: nothing is weighed.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        blocks = fetch_named(connection, block_ids)
        blocks.sort(key=lambda one: (sort_key(one.site_name), sort_key(one.name)))
        today = today_at(blocks, datetime.now(UTC))
        until = {block_id: as_of or day for block_id, day in today.items()}
        found = find_spread(connection, blocks, until)
    if form:
        print_records((_record(one, share) for one in found), form, COLUMNS)
        return
    click.echo("\n".join(_lines(found, share)))


def _record(one: BlockSpread, share: float) -> Record:
    status, weak, years = one.status, one.weak, one.find_years(share)
    last = one.weak_growth[-1] if one.weak_growth else None
    times = last and last.times_a_year
    return {
        "block": one.block.id,
        "site": one.block.site_id,
        "name": one.block.name,
        "status": status.standing,
        "since": status.since and status.since.isoformat(),
        "last_dug": status.last_dug and status.last_dug.isoformat(),
        "confidence": status.confidence and round(status.confidence, 4),
        "planted": one.stand.planted,
        "age": one.age,
        "roots": one.stand.roots,
        "vines": one.vines,
        "weak_vines": len(weak.vines) if weak else None,
        "weak_on": weak and weak.day.isoformat(),
        "found_vines": len(status.vines),
        "share": None if one.share is None else round(one.share, 4),
        "times_a_year": times and round(times, 3),
        "pace": last and last.pace,
        "target_share": share,
        "reached": int(one.share is not None and one.share >= share),
        **{f"year_{pace}": years[pace] if years else None for pace in PACES},
        "as_of": status.as_of.isoformat(),
    }


def _lines(found: Sequence[BlockSpread], share: float) -> Iterator[str]:
    paces = "".join(f"{pace:<7}" for pace in PACES)
    yield f"{'':<59}{f'{100 * share:g} % reached in'}"
    heads = f"{'block':<13}{'stands':<14}{'since':<12}{'age':<4}{'roots':<10}{'share':<6}{paces}"
    yield heads.rstrip()
    for one in found:
        years = one.find_years(share)
        told = [str(years[pace]) for pace in PACES] if years else [_tell_none(one, share)]
        since = day_text(one.status.since) if one.status.since else ""
        age = "-" if one.age is None else str(one.age)
        part = "-" if one.share is None else show_share(one.share, "en")
        part = part.replace("under ", "<").replace(" ", "")
        yield (
            f"{one.block.name[:12]:<13}{name_standing(one.status.standing, 'en'):<14}{since:<12}"
            f"{age:<4}{(one.stand.roots or '-')[:9]:<10}{part:<6}"
            f"{''.join(f'{year:<7}' for year in told)}"
        ).rstrip()
    unknown = [one.block.id for one in found if one.vines is None]
    if unknown:
        text = (
            f"How many vines there are is not known of {', '.join(unknown)}: write vines in "
            "their [[block]] of the farm file."
        )
        yield from ("", fill(text, WIDTH))
    for text in (*explain_replanting("en"), *explain_spread("en")):
        yield from ("", fill(text, WIDTH))


def _tell_none(one: BlockSpread, share: float) -> str:
    return "reached" if one.share is not None and one.share >= share else "-"
