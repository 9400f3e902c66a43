"""Weak patches of a visitor's blocks: what is measured, and what is set aside or taken back."""

from __future__ import annotations

from datetime import date, datetime
from http import HTTPStatus
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from alerts.dig.vigour import Planting, VigourError
from service.dig.patches import VINES_EACH, BlockPatches, find_block_patches
from service.store.engine import reading, writing
from service.store.vigour import (
    KeptVigour,
    drop_survey,
    fetch_planting,
    fetch_surveys,
    keep_vigour,
    set_aside,
    take_back,
)
from service.vigour.contract import VigourFile
from service.vigour.files import read_vigour
from service.web.access import Visitor
from service.web.problems import Problem
from service.web.seen_blocks import find_block

LONGEST_PERSON = 100


class Measured(NamedTuple):
    """A file of vigour as it is sent; `measure`: the name of its column or band, if any."""

    day: str
    measure: str
    file: str
    content: bytes


class NamedPatch(NamedTuple):
    """A patch by its number, and what that went by when it was shown."""

    block_id: str
    number: int
    of: str


def keep_measured(
    engine: Engine, block_id: str, measured: Measured, who: Visitor, now: datetime
) -> VigourFile | None:
    """Keep what was measured; None: how the vines of the block stand is not known. VigourError."""
    with reading(engine) as connection:
        block = find_block(connection, who.reach, block_id)
        planting = fetch_planting(connection, block.id)
    if planting is None:
        return None
    read = read_vigour(measured.content, planting, measured.measure or None)
    day = _read_day(measured.day, now.date())
    kept = KeptVigour(day, read.measure, measured.file, read.vigour)
    with writing(engine) as connection:
        keep_vigour(connection, block.id, kept, now)
        who.note(connection, "kept vigour", f"{block.id}, {read.measure} of {day}", now)
    return read


def drop_measured(
    connection: Connection, block_id: str, number: int, who: Visitor, now: datetime
) -> None:
    """Take away what was measured: of another block, or wrong."""
    block = find_block(connection, who.reach, block_id)
    for survey in fetch_surveys(connection, block.id):
        if survey.id == number:
            drop_survey(connection, survey)
            about = f"{block_id}, {survey.measure} of {survey.measured_on}, {survey.file}"
            who.note(connection, "took vigour away", about, now)
            return
    raise Problem(HTTPStatus.NOT_FOUND, "there is no such survey of vigour")


def put_patch_aside(
    connection: Connection, patch: NamedPatch, person: str, why: str, who: Visitor, now: datetime
) -> None:
    """Keep that a patch is explained; one that is stays so."""
    found = _find_numbered(connection, patch, who)
    if patch.number not in found.aside:
        vines = found.survey.patches[patch.number - 1].vines
        set_aside(connection, patch.block_id, vines, person, why, now)
        who.note(connection, "set a patch aside", f"{patch.block_id}, {why}", now)


def put_patch_back(connection: Connection, patch: NamedPatch, who: Visitor, now: datetime) -> None:
    """Let a patch be dug after all."""
    found = _find_numbered(connection, patch, who)
    if patch.number in found.aside:
        take_back(connection, found.aside[patch.number].id, who.account.name, now)
        who.note(connection, "took a patch back", patch.block_id, now)


def find_patches(
    connection: Connection, block_id: str, planting: Planting | None
) -> BlockPatches | None:
    """Return the patches of a block; None: nothing was measured."""
    try:
        return planting and find_block_patches(connection, block_id, planting, VINES_EACH)
    except VigourError as error:
        raise Problem(HTTPStatus.CONFLICT, f"its vigour cannot be used: {error}") from None


def sign_patches(found: BlockPatches) -> str:
    """Return what the numbers of patches go by."""
    return f"{found.last.measured_on} {found.last.measure} {len(found.survey.patches)}"


def _find_numbered(connection: Connection, patch: NamedPatch, who: Visitor) -> BlockPatches:
    """Return the patches of a block, of which one has this number since it was shown."""
    block = find_block(connection, who.reach, patch.block_id)
    found = find_patches(connection, block.id, fetch_planting(connection, block.id))
    if found is None or patch.of != sign_patches(found):
        said = "the patches were found anew since this page was shown; look at them again"
        raise Problem(HTTPStatus.CONFLICT, said)
    if patch.number not in [one.number for one in found.survey.patches]:
        raise Problem(HTTPStatus.NOT_FOUND, "there is no such patch")
    return found


def _read_day(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.max
    if day > today:
        raise VigourError(f"'{text}' is no day up to today on which it was measured")
    return day
