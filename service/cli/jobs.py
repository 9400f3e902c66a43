"""digseason jobs"""

from __future__ import annotations

import signal
from pathlib import Path
from threading import Event

import click

from service.scheduler import ticking
from service.watching.logs import start_log
from service.wiring import open_store


@click.command("jobs")
@click.pass_obj
def command(data: Path) -> None:
    """Run the rounds that are due, send, fetch and empty the inbox, until interrupted.

    What `digseason serve` does beside its pages, as a process of its own: for
    `digseason serve --pages-only`, on this host or another.
    """
    settings, engine = open_store(data)
    start_log(settings.log)
    ended = Event()
    for ending in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ending, lambda *_: ended.set())
    with ticking(engine, settings):
        click.echo("Running what is due. Stop by CTRL+C.")
        ended.wait()
