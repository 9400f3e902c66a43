"""From the store to the bulletin for the notice board."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

from sqlalchemy import Connection, select

from alerts.bulletin import BulletinBlock, compose_bulletin, write_bulletin
from alerts.expectations import Expectation
from probes.units import Unit
from service.advisories.drafting import find_figures
from service.calendars import Adapt
from service.evaluation import BlockEvaluation
from service.outlooks import fetch_expected_by_day
from service.pictures import SHEET, colours_css
from service.showing import find_season
from service.store.tables import organisation

SHEETS = files("service.web") / "static" / "bulletin.css", SHEET


def write_blocks(
    connection: Connection,
    evaluations: Sequence[BlockEvaluation],
    language: str,
    unit: Unit,
    adapt: Adapt = lambda expected: expected,
) -> str:
    """Return the bulletin of some blocks as HTML; of what is to come as a round has kept it, and as
    `adapt` makes it fit for its readers.
    """
    figures = find_figures(connection, evaluations)
    days = {one.block.id: one.as_of for one in evaluations}
    expected = fetch_expected_by_day(connection, days)
    blocks = [show_block(one, adapt(expected.get(one.block.id))) for one in evaluations]
    name = connection.scalar(select(organisation.c.name)) or ""
    style = "\n".join([colours_css(), *(sheet.read_text("utf-8") for sheet in SHEETS)])
    return write_bulletin(compose_bulletin(blocks, figures, name, language, unit), style)


def show_block(one: BlockEvaluation, expected: Expectation | None) -> BulletinBlock:
    """Return how a block stands, as the bulletin and pages tell it."""
    spans = one.evaluation.spans
    last = spans[-1] if spans else None
    season = one.evaluation.standing.season
    opened = last if one.state == "open" else None
    ahead = one.outlook
    if ahead is None or (opened and ahead.opens and ahead.kind == opened.kind):
        expected = None  # readings have gone, or come, since it was found
    return BulletinBlock(
        name=one.block.name,
        district_id=one.block.district_id or "",
        state=one.state,
        opened=opened,
        root_zone_cm=one.block.root_zone_cm,
        mean_c=one.evaluation.standing.mean_c if one.state != "no recent readings" else None,
        mean_days=one.rule.mean_days,
        season=find_season(one),
        expected=expected,
        closed=last if last and last.season == season and last.closed_on else None,
    )
