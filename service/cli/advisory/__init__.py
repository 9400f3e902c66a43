"""digseason advisory: review what a whole region is told, and release or drop it."""

from __future__ import annotations

from service.cli.advisory.deciding import draft, drop, note, release
from service.cli.advisory.listing import command, history, show

for each in (show, note, release, drop, draft, history):
    command.add_command(each)

__all__ = ["command"]
