"""digseason digs plan"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from textwrap import fill
from typing import Any

import click

from alerts.dig.claims import claim_by_lot, claim_targeted
from alerts.dig.how_many import find_how_many
from alerts.dig.sampling import FORMULA, Design
from alerts.dig.status import USUAL, Search
from alerts.dig.status_words import tell_status
from service.cli.options import SHARE, WIDTH, fetch_named, format_options, print_records
from service.dig.lot import BlockLot, find_lot
from service.dig.status import today_at
from service.showing import Record
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "vines",
    "prevalence",
    "infested",
    "sensitivity",
    "confidence",
    "dig_by_lot",
    "most_confidence",
    "season",
    "dug_by_lot",
    "confidence_at_start",
    "confidence_now",
    "dig_still",
    "formula",
)


class _Digs(click.ParamType[tuple[int, int]]):
    name = "season:vines"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        """Return the season and the vines of "2024:30"."""
        if isinstance(value, tuple):
            return value
        season, _, count = str(value).partition(":")
        is_plain = season.isdecimal() and count.isdecimal() and len(season) == 4
        if not is_plain or not int(count):
            self.fail(f"'{value}' is no season and count of vines; write it as 2024:30", param, ctx)
        return int(season), int(count)


@dataclass(frozen=True)
class _Looked:
    """What was dug so far: vines by lot and chosen ones, each by season, without a find."""

    by_lot: Mapping[int, int]
    targeted: Mapping[int, int]
    season: int
    introduction: float


@click.command("plan")
@click.option("--block", "block_id", metavar="ID", help="Its vines, and its digs by lot.")
@click.option(
    "--vines", type=click.IntRange(1, 1_000_000), metavar="N", help="In the block, or in none."
)
@click.option(
    "--prevalence",
    "prevalences",
    type=SHARE,
    multiple=True,
    default=[USUAL.prevalence],
    help="Least share of infested vines to be found; 5% unless given, several are compared.",
)
@click.option(
    "--sensitivity",
    "sensitivities",
    type=SHARE,
    multiple=True,
    default=[USUAL.sensitivity],
    help="Chance that one dig at an infested vine shows it; 80% unless given (no source).",
)
@click.option("--confidence", type=SHARE, default=0.95, help="Wanted; 95% unless given.")
@click.option(
    "--dug",
    type=_Digs(),
    multiple=True,
    help="Vines by lot dug in a season without a find, as 2024:30.",
)
@click.option(
    "--targeted",
    type=_Digs(),
    multiple=True,
    help="Chosen vines dug in a season without a find; told, not counted.",
)
@click.option("--season", type=click.IntRange(1900, 2200), help="Of the plan; this year's.")
@click.option(
    "--introduction",
    type=SHARE,
    default=USUAL.introduction,
    help="Chance in a year that the insect comes in; 5% unless given (no source).",
)
@format_options
@click.pass_obj
def plan_command(
    data: Path,
    block_id: str | None,
    vines: int | None,
    prevalences: tuple[float, ...],
    sensitivities: tuple[float, ...],
    confidence: float,
    dug: tuple[tuple[int, int], ...],
    targeted: tuple[tuple[int, int], ...],
    season: int | None,
    introduction: float,
    form: str | None,
) -> None:
    """Tell how many vines to dig by lot, and what earlier digs still say.

    Shares are written as 5% or 0.05. Of a block the digs by lot that were kept count, unless --dug
    names others.
    """
    looked = _Looked(_sum(dug), _sum(targeted), season or datetime.now(UTC).year, introduction)
    lot = None
    if block_id is not None:
        search = Search(prevalences[0], sensitivities[0], introduction)
        lot = _find_lot(data, block_id, search, confidence, vines)
        vines = lot.vines
        if season is None and lot.how_many:
            looked = replace(looked, season=lot.how_many.season)
        if not dug and not lot.is_settled:
            looked = replace(looked, by_lot=lot.find_by_lot(looked.season))
    if vines is None:
        raise click.UsageError(
            f"how many vines {f'{block_id} has' if block_id else 'there are'} is not known; write "
            "--vines"
        )
    _check(looked, vines, confidence)
    designs = [Design(vines, *one) for one in product(prevalences, sensitivities)]
    records = [_record(design, confidence, looked) for design in designs]
    if form:
        print_records(records, form, COLUMNS)
        return
    lines = [fill(tell_status(lot.status, "en"), WIDTH), ""] if lot else []
    lines += [f"To be {_percent(confidence)} sure among {vines:,} vines ({FORMULA}):", ""]
    lines += [f"{'infested at least':<22}{'seen by a dig':<16}{'dig by lot':<13}with all dug"]
    lines += [_line(one) for one in records]
    if looked.by_lot:
        lines += ["", *_earlier_lines(records, looked, confidence)]
    if looked.targeted:
        told = ", ".join(f"{count} in {one}" for one, count in sorted(looked.targeted.items()))
        lines += ["", fill(f"Chosen vines without a find, not counted: {told}.", WIDTH)]
    claims = [claim_by_lot("en"), *([claim_targeted("en")] if looked.targeted else [])]
    for claim in claims:
        lines += ["", fill(claim, WIDTH)]
    if lot and lot.places:
        lines += ["", f"Which ones: digseason digs draw --block {block_id}"]
    click.echo("\n".join(lines))


def _find_lot(
    data: Path, block_id: str, search: Search, confidence: float, vines: int | None
) -> BlockLot:
    _, engine = open_store(data)
    with reading(engine) as connection:
        (block,) = fetch_named(connection, [block_id])
        today = today_at([block], datetime.now(UTC))[block.id]
        return find_lot(connection, block, today, search, confidence, vines)


def _check(looked: _Looked, vines: int, confidence: float) -> None:
    if confidence >= 1.0:
        raise click.BadParameter("no dig is ever wholly sure; write 99%", param_hint="--confidence")
    for name, dug in (("--dug", looked.by_lot), ("--targeted", looked.targeted)):
        for one, count in dug.items():
            if one > looked.season:
                text = f"{one} lies after the season of the plan, {looked.season}"
                raise click.BadParameter(text, param_hint=name)
            if count > vines:
                text = f"{count} vines in {one}, but the block has {vines}"
                raise click.BadParameter(text, param_hint=name)


def _record(design: Design, confidence: float, looked: _Looked) -> Record:
    season, introduction = looked.season, looked.introduction
    found = find_how_many(design, confidence, looked.by_lot, season, introduction)
    return {
        "vines": design.vines,
        "prevalence": design.prevalence,
        "infested": design.infested,
        "sensitivity": design.sensitivity,
        "confidence": confidence,
        "dig_by_lot": found.wanted,
        "most_confidence": design.ceiling,
        "season": season,
        "dug_by_lot": found.dug_now,
        "confidence_at_start": found.at_start,
        "confidence_now": found.now,
        "dig_still": found.still,
        "formula": FORMULA,
    }


def _line(one: Record) -> str:
    share = f"{_percent(one['prevalence'])}: {_vines(one['infested'])}"
    wanted = "cannot be" if one["dig_by_lot"] is None else f"{one['dig_by_lot']:,}"
    most = _percent(one["most_confidence"], one["sensitivity"] == 1.0)
    return f"{share:<22}{_percent(one['sensitivity']):<16}{wanted:<13}{most}"


def _earlier_lines(records: list[Record], looked: _Looked, confidence: float) -> list[str]:
    """Return what the digs so far say, and how many are still to be dug."""
    told = ", ".join(f"{count} in {one}" for one, count in sorted(looked.by_lot.items()))
    heading = (
        f"With the vines dug by lot without a find ({told}), an even chance before them, and a "
        f"chance of {_percent(looked.introduction)} a year that the insect comes in:"
    )
    lines = [
        fill(heading, WIDTH),
        "",
        f"{'infested at least':<22}{'seen by a dig':<16}{'sure now':<13}still to dig",
    ]
    for one in records:
        share = f"{_percent(one['prevalence'])}: {_vines(one['infested'])}"
        still = "cannot be" if one["dig_still"] is None else f"{one['dig_still']:,}"
        now = _percent(one["confidence_now"])
        lines.append(f"{share:<22}{_percent(one['sensitivity']):<16}{now:<13}{still}")
    wanted = f"Sure now: that fewer are infested; {_percent(confidence)} is wanted."
    return [*lines, wanted]


def _percent(share: Any, may_be_all: bool = True) -> str:
    """Return "5 %", "99.97 %"; "over 99.99 %" where it is not all, but rounds to it."""
    shown = f"{100 * share:.4g} %"
    is_all = share == 1.0 and may_be_all
    return "over 99.99 %" if shown == "100 %" and not is_all else shown


def _vines(count: Any) -> str:
    return f"{count:,} vine{'s' * (count != 1)}"


def _sum(digs: tuple[tuple[int, int], ...]) -> dict[int, int]:
    """Return the vines of each season, of several digs in one added."""
    summed: dict[int, int] = {}
    for season, count in digs:
        summed[season] = summed.get(season, 0) + count
    return summed
