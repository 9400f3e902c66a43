"""digseason score"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from math import isnan
from pathlib import Path

import click
import numpy as np

from alerts.hindcasts import Hindcasts, hindcast, pool
from alerts.skill import BandScore, Share, find_reliability, score_bands
from alerts.windows import Kind
from service.cli.options import as_of_option, evaluate_named, format_options, print_records
from service.cli.progress import progress_bar
from service.evaluation import BlockEvaluation
from service.showing import Record
from service.store.engine import reading
from service.wiring import open_store

KINDS: tuple[Kind, ...] = ("spring", "fall")
SHARES = ("over_climatology", "over_persistence", "coverage")
COLUMNS = (
    "kind",
    "lead_from_d",
    "lead_to_d",
    "outlooks",
    "seasons",
    "mae_d",
    "bias_d",
    "crps_d",
    *(f"{name}{end}" for name in SHARES for end in ("", "_low", "_high")),
)
CHANCE_COLUMNS = ("kind", "chance", "happened", "outlooks")


@click.command("score")
@click.option("--block", "block_id", metavar="ID", help="One block; all unless given.")
@click.option(
    "--every", default=1, show_default=True, type=click.IntRange(1), help="Days between outlooks."
)
@click.option("--chances", is_flag=True, help="Lay chances given beside what happened instead.")
@as_of_option
@format_options
@click.pass_obj
def command(
    data: Path,
    block_id: str | None,
    every: int,
    chances: bool,
    as_of: date | None,
    form: str | None,
) -> None:
    """Score the outlooks that seasons past would have had, each season left out of its own fit.

    For the first opening of spring and of fall, issued from 60 days before it to 30 after. Each
    score stands beside that of the climatology, the same yearly curve without a word of the season,
    and of persistence; intervals come from drawing whole seasons. Days that are borrowed from
    neighbours count as missing, and forecasts of the air are left out.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        evaluations = evaluate_named(connection, settings, block_id, as_of)
    scored: dict[Kind, list[Hindcasts]] = {
        kind: _hindcast_all(evaluations, kind, every) for kind in KINDS
    }
    known: dict[Kind, Hindcasts] = {kind: pool(parts) for kind, parts in scored.items() if parts}
    make, columns = (_chance_records, CHANCE_COLUMNS) if chances else (_band_records, COLUMNS)
    if form:
        print_records((one for kind in known for one in make(kind, known[kind])), form, columns)
        return
    for kind, hindcasts in known.items():
        click.echo("\n".join([*(_chance_lines if chances else _band_lines)(kind, hindcasts), ""]))
    if not known:
        click.echo("No season can be scored: that takes a year of readings besides it.")


def _hindcast_all(evaluations: list[BlockEvaluation], kind: Kind, every_d: int) -> list[Hindcasts]:
    """Return the hindcasts of all blocks, season by season."""
    found: list[Hindcasts] = []
    with progress_bar(kind) as progress:
        for number, one in enumerate(evaluations, 1):
            if kind in one.rule.windows:
                found += hindcast(
                    np.where(one.root_zone.borrowed, np.nan, one.root_zone.root_zone_c),
                    one.root_zone.day,
                    one.block.south,
                    one.rule,
                    kind,
                    one.block.id,
                    every_d=every_d,
                )
            progress(number / len(evaluations))
    return found


def _band_records(kind: Kind, hindcasts: Hindcasts) -> Iterator[Record]:
    for band in score_bands(hindcasts):
        shares: Record = {}
        for name in SHARES:
            share: Share = getattr(band, name)
            value = None if isnan(share.value) else share.value
            shares |= {name: value, f"{name}_low": share.low, f"{name}_high": share.high}
        yield {
            "kind": kind,
            "lead_from_d": band.lead_d[0],
            "lead_to_d": band.lead_d[1],
            "outlooks": band.outlooks,
            "seasons": band.seasons,
            "mae_d": band.mae_d,
            "bias_d": band.bias_d,
            "crps_d": band.crps_d,
            **shares,
        }


def _band_lines(kind: Kind, hindcasts: Hindcasts) -> Iterator[str]:
    yield f"{kind} opening, {_seasons(hindcasts)}, n outlooks; better than: by this share"
    yield f"{'lead':<6}{'':>5}{'error':>7}{'late':>6}{'CRPS':>6}{'better than':>24}{'interval':>24}"
    yield (
        f"{'d':<6}{'n':>5}{'d':>7}{'d':>6}{'d':>6}"
        f"{'climatology':>16}{'persistence':>16}{'held':>16}"
    )
    for band in score_bands(hindcasts):
        yield _band_line(band)


def _band_line(band: BandScore) -> str:
    lead = f"{band.lead_d[0]}-{band.lead_d[1]}"
    return (
        f"{lead:<6}{band.outlooks:>5}{band.mae_d:>7.1f}{band.bias_d:>+6.1f}{band.crps_d:>6.2f}"
        f"{_percent(band.over_climatology):>16}{_percent(band.over_persistence):>16}"
        f"{_percent(band.coverage):>16}"
    )


def _percent(share: Share) -> str:
    if isnan(share.value):
        return "not told"
    if share.low is None or share.high is None:
        return f"{share.value:.0%}"
    return f"{share.value:.0%} ({100 * share.low:.0f}..{100 * share.high:.0f})"


def _seasons(hindcasts: Hindcasts) -> str:
    """Return "3 seasons"."""
    count = len(set(hindcasts.season.tolist()))
    return f"{count} season{'s' if count > 1 else ''}"


def _chance_records(kind: Kind, hindcasts: Hindcasts) -> Iterator[Record]:
    for one in find_reliability(hindcasts):
        yield {"kind": kind, **vars(one)}


def _chance_lines(kind: Kind, hindcasts: Hindcasts) -> Iterator[str]:
    yield f"{kind} opening within 14 days, {_seasons(hindcasts)}"
    yield f"{'chance given':>12}{'happened':>10}{'outlooks':>10}"
    for one in find_reliability(hindcasts):
        yield f"{one.chance:>12.0%}{one.happened:>10.0%}{one.outlooks:>10}"
