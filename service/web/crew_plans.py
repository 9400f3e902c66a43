"""Which crew digs which of a visitor's blocks on which day, as it is asked for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, Field
from sqlalchemy import Engine

from alerts.dig.crew_days import Crews
from service.dig.days import CrewPlan, count_vines, find_days, plan_digs
from service.dig.patches import VINES_EACH
from service.evaluation import as_of_day
from service.settings import Settings
from service.store.blocks import Block
from service.store.engine import reading
from service.web.access import Visitor
from service.web.api.ranges import Day
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks

MOST_BLOCKS = 40


class Asked(BaseModel):
    """What a plan is asked for."""

    per_hour: Annotated[float, Field(gt=0, le=1000, description="vines that a crew digs")] = 6.0
    hours: Annotated[float, Field(gt=0, le=16, description="that it digs a day")] = 6.0
    crews: Annotated[int, Field(ge=1, le=200)] = 1
    vines: Annotated[
        int, Field(ge=1, le=100_000, description="of a block where no patch names them")
    ] = VINES_EACH
    span: Annotated[int, Field(ge=1, le=120, description="how many days are planned")] = 42
    off: Annotated[
        list[Annotated[int, Field(ge=0, le=6)]],
        Field(max_length=7, description="weekdays without digging, Monday being 0"),
    ] = []
    first: Annotated[
        Day | None,
        BeforeValidator(lambda text: text or None),
        Field(description="the first day; today unless given"),
    ] = None
    blocks: Annotated[
        str, Field(max_length=4000, description="their ids; all that you see unless given")
    ] = ""


def find_plan(engine: Engine, settings: Settings, who: Visitor, asked: Asked) -> CrewPlan | None:
    """Return the plan; None: too many blocks are within reach to plan for all."""
    now = datetime.now(UTC)
    with reading(engine) as connection:
        blocks = _choose(find_blocks(connection, who.reach), asked.blocks)
        if len(blocks) > MOST_BLOCKS:
            return None
        if not blocks:
            raise Problem(HTTPStatus.NOT_FOUND, "no block is yours to see")
        until = [as_of_day(one, now) for one in blocks]
        begin = asked.first or max(until) + timedelta(days=1)
        days = find_days(begin, asked.span, asked.off)
        vines_a_day = int(asked.per_hour * asked.hours + 1e-9)
        if not days or vines_a_day < 1:
            said = "there is no day to dig on, or a crew digs less than one vine a day"
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
        vines = {one.id: count_vines(connection, one, asked.vines) for one in blocks}
        crews = Crews(asked.crews, vines_a_day)
        accuracy_c = settings.sensor_accuracy_c
        return plan_digs(connection, blocks, until, vines, days, crews, accuracy_c)


def need_plan(engine: Engine, settings: Settings, who: Visitor, asked: Asked) -> CrewPlan:
    """Return the plan, or refuse to plan for so many blocks."""
    found = find_plan(engine, settings, who, asked)
    if found is None:
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"name at most {MOST_BLOCKS} blocks")
    return found


def _choose(blocks: list[Block], ids: str) -> list[Block]:
    """Return the blocks that are named by id, or all of them."""
    wanted = set(ids.replace(",", " ").split())
    if wanted - {one.id for one in blocks}:
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
    return [one for one in blocks if not wanted or one.id in wanted]
