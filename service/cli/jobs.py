"""digseason jobs"""

from __future__ import annotations

import logging
import signal
from pathlib import Path
from threading import Event

import click

from service.scheduler import ticking
from service.wiring import open_store


@click.command("jobs")
@click.pass_obj
def command(data: Path) -> None:
    """Run the rounds that are due, send, fetch and empty the inbox, until interrupted.

    What `digseason serve` does beside its pages, as a process of its own: for
    `digseason serve --pages-only`, on this host or another.
    """
    start_log()
    settings, engine = open_store(data)
    ended = Event()
    for ending in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ending, lambda *_: ended.set())
    with ticking(engine, settings):
        click.echo("Running what is due. Stop by CTRL+C.")
        ended.wait()


def start_log() -> None:
    """Say what happens, a line each."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(name)s %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
