"""Two stores held against each other, as a table."""

from __future__ import annotations

from collections.abc import Sequence

import click

from service.store.copying import Comparison


def show_comparisons(comparisons: Sequence[Comparison]) -> int:
    """Print what was copied; return the exit code."""
    click.echo(f"{'table':<24}{'rows':>14}")
    for one in comparisons:
        if one.rows or one.differing:
            differs = f"  {one.differing:,} differ" if one.differing else ""
            click.echo(f"{one.table:<24}{one.rows:>14,}{differs}")
    if any(one.differing for one in comparisons):
        click.echo("\nNot all of it is the same. Run the command again; it copies what differs.")
        return 1
    click.echo("\nAll of it is the same on both sides, by count and checksum.")
    return 0
