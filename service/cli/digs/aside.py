"""digseason digs set-aside, take-back"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click
from sqlalchemy import Connection

from service.cli.digs.blocks import need_planting
from service.cli.options import fetch_named, person_option, why_option
from service.dig.patches import BlockPatches, find_block_patches
from service.store.engine import writing
from service.store.vigour import set_aside, take_back
from service.wiring import open_store


@click.command("set-aside")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option("--patch", "number", type=int, metavar="N", required=True, help="As `patches` says.")
@person_option
@why_option
@click.pass_obj
def set_aside_command(data: Path, block_id: str, number: int, person: str, why: str) -> None:
    """Set patch N aside: water, the soil or another cause explains it."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        found = _need_patch(connection, block_id, number)
        if number in found.aside:
            raise click.BadParameter(f"patch {number} is set aside already", param_hint="--patch")
        vines = found.survey.patches[number - 1].vines
        set_aside(connection, block_id, vines, person, why, datetime.now(UTC))
    click.echo(f"patch {number} is set aside, until it has grown to twice its vines")


@click.command("take-back")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option("--patch", "number", type=int, metavar="N", required=True, help="As `patches` says.")
@person_option
@click.pass_obj
def take_back_command(data: Path, block_id: str, number: int, person: str) -> None:
    """Let patch N be dug after all."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        found = _need_patch(connection, block_id, number)
        if number not in found.aside:
            raise click.BadParameter(f"patch {number} is not set aside", param_hint="--patch")
        take_back(connection, found.aside[number].id, person, datetime.now(UTC))
    click.echo(f"patch {number} is to be dug again")


def _need_patch(connection: Connection, block_id: str, number: int) -> BlockPatches:
    """Return the patches of a block, of which one has this number."""
    (block,) = fetch_named(connection, [block_id])
    found = find_block_patches(connection, block.id, need_planting(connection, block), 1)
    known = [one.number for one in found.survey.patches] if found else []
    if found is None or number not in known:
        listed = ", ".join(map(str, known)) or "none"
        raise click.BadParameter(
            f"{block.name} has no patch {number}; it has: {listed}", param_hint="--patch"
        )
    return found
