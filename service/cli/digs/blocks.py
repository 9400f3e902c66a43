"""What the commands on digging share: how the vines of a block stand, files to write."""

from __future__ import annotations

from pathlib import Path

import click
from sqlalchemy import Connection

from alerts.dig.vigour import Planting
from service.store.blocks import Block
from service.store.vigour import fetch_planting


def need_planting(connection: Connection, block: Block) -> Planting:
    """Return how the vines of a block stand, or say what is missing."""
    planting = fetch_planting(connection, block.id)
    if planting is None:
        raise click.UsageError(
            f"how far apart the vines of {block.name} stand is not known; write row_spacing_m and "
            f"vine_spacing_m in [[block]] {block.id} of the farm file, then run setup"
        )
    return planting


def write_file(path: Path, content: bytes) -> None:
    """Write a file, or say why it cannot be."""
    try:
        path.write_bytes(content)
    except OSError as error:
        raise click.UsageError(f"{path} cannot be written: {error.strerror}") from None
