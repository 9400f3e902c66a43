"""Blocks within a visitor's reach, as pages show them; what is another's has no name there."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any, TypeVar

import numpy as np
from sqlalchemy import Connection, select

from alerts.bulletin import BulletinBlock, tell_block
from alerts.expectations import Expectation
from alerts.figures import show_day
from alerts.news import sort_key, tidy
from alerts.notices import Neighbour, NeighbourSource, Source
from alerts.ribbon_svg import RibbonRow, draw_ribbons
from alerts.season import season_start
from alerts.why.facts import Why
from alerts.words import translations
from probes.units import Unit
from service.bulletins import show_block
from service.dig.status import find_told
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.outlooks import fetch_expected_by_day
from service.reach import Reach
from service.settings import Settings
from service.store.among import among
from service.store.blocks import Block, fetch_blocks
from service.store.tables import block, site
from service.web.access import Visitor
from service.web.problems import Problem

Named = TypeVar("Named", bound=Any)
"""Something with a name and that of its site."""


@dataclass(frozen=True)
class SeenBlock:
    """A block as it stands now, and how that is shown."""

    now: BlockEvaluation
    shown: BulletinBlock

    def tell(self, language: str, unit: Unit) -> str:
        """Return how it stands and what is to come, as a paragraph."""
        return tell_block(self.shown, language, unit, self.now.as_of)

    def tell_readings(self, language: str) -> str:
        """Return how fresh its own readings are, as a sentence."""
        _ = translations(language).gettext
        zone, standing = self.now.root_zone, self.now.evaluation.standing
        first = np.datetime64(season_start(standing.season, self.now.block.south))
        own = ~np.isnan(zone.root_zone_c) & ~zone.borrowed & (zone.day >= first)
        days = zone.day[own].tolist()
        text = _("no readings this season")
        if days:
            day = show_day(days[-1], language, self.now.as_of)
            text = _("last readings {day}").format(day=day)
        return f"{text[:1].upper()}{text[1:]}."

    def draw(self, language: str, stem: str) -> str:
        """Return the ribbon of its season as an SVG element."""
        name = tidy(self.shown.name)
        return draw_ribbons([RibbonRow("", self.shown.season)], name, language, stem)


def list_blocks(connection: Connection, reach: Reach) -> dict[str, str]:
    """Return what the blocks are called that may be seen, by their ids, in order."""
    query = select(block.c.id, block.c.name, site.c.name.label("site_name")).join(site)
    active = block.c.retired_at.is_(None), site.c.retired_at.is_(None)
    rows = connection.execute(query.where(among(block.c.id, reach.block_ids), *active)).all()
    return {row.id: row.name for row in _in_order(rows)}


def find_blocks(
    connection: Connection, reach: Reach, only: Collection[str] | None = None
) -> list[Block]:
    """Return the blocks that may be seen, or some of them, in order."""
    ids = reach.block_ids if only is None else only
    return _in_order(fetch_blocks(connection, ids) if ids else [])


def find_block(connection: Connection, reach: Reach, block_id: str) -> Block:
    """Return one block that may be seen, or refuse it."""
    found = fetch_blocks(connection, [block_id]) if block_id in reach.block_ids else []
    if not found:
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
    return found[0]


def find_told_blocks(connection: Connection, who: Visitor) -> tuple[list[Block], int]:
    """Return the blocks of which a visitor may know what digging showed, and how many others they
    see.
    """
    every, told = find_blocks(connection, who.reach), find_told(connection, who.account, who.reach)
    blocks = [one for one in every if one.id in told]
    return blocks, len(every) - len(blocks)


def _in_order(found: Iterable[Named]) -> list[Named]:
    """Sort by site and name, "Terrace 7" before "Terrace 10"."""
    return sorted(found, key=lambda one: (*sort_key(one.site_name), *sort_key(one.name)))


def see(
    connection: Connection,
    blocks: Sequence[Block],
    seasons: int | None,
    settings: Settings,
    names: Collection[str],
    language: str,
) -> list[SeenBlock]:
    """Return blocks as they stand now, over some seasons; of what is to come as a round kept it.

    `seasons` of None: all. `names` are those of the blocks that may be seen.
    """
    if not blocks:
        return []
    now = datetime.now(UTC)
    days = {one.id: as_of_day(one, now) for one in blocks}
    found = evaluate_blocks(
        connection, blocks, [*days.values()], seasons, settings.sensor_accuracy_c
    )
    expected = fetch_expected_by_day(connection, days)
    return [
        SeenBlock(
            one, show_block(one, unname_expected(expected.get(one.block.id), names, language))
        )
        for one in found
    ]


def unname_neighbours(
    neighbours: Iterable[Neighbour], names: Collection[str], language: str
) -> tuple[Neighbour, ...]:
    """Return neighbours, those without a name that may not be seen."""
    other = translations(language).gettext("a block of another grower")
    return tuple(
        one if one.is_station or one.name in names else replace(one, name=other)
        for one in neighbours
    )


def unname_sources(
    sources: Iterable[Source], names: Collection[str], language: str
) -> tuple[Source, ...]:
    """Return sources, neighbours among them without a name that may not be seen."""
    return tuple(
        replace(one, neighbours=unname_neighbours(one.neighbours, names, language))
        if isinstance(one, NeighbourSource)
        else one
        for one in sources
    )


def unname_why(why: Why, names: Collection[str], language: str) -> Why:
    """Return an explanation, neighbours in it without a name that may not be seen."""
    lent_by = unname_neighbours(why.basis.lent_by, names, language)
    return replace(why, basis=replace(why.basis, lent_by=lent_by))


def unname_expected(
    expected: Expectation | None, names: Collection[str], language: str
) -> Expectation | None:
    """Return what is to come, neighbours in it without a name that may not be seen."""
    if expected is None:
        return None
    neighbour = expected.neighbour
    if neighbour and not expected.neighbour_is_station and neighbour not in names:
        neighbour = translations(language).gettext("a block of another grower")
    borrowed = unname_neighbours(expected.borrowed, names, language)
    return replace(expected, neighbour=neighbour, borrowed=borrowed)
