"""digseason jobs"""

from __future__ import annotations

import signal
from contextlib import ExitStack
from pathlib import Path
from threading import Event

import click

from service.memory import keep_little
from service.scheduler import ticking
from service.watching.logs import start_log
from service.wiring import open_store


@click.command("jobs")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", type=int, help="Answer /health and /metrics there.")
@click.pass_obj
def command(data: Path, host: str, port: int | None) -> None:
    """Run the rounds that are due, send, fetch and empty the inbox, until interrupted.

    What `digseason serve` does beside its pages, as a process of its own: for
    `digseason serve --pages-only`, on this host or another.
    """
    keep_little()
    settings, engine = open_store(data)
    start_log(settings.log)
    ended = Event()
    for ending in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ending, lambda *_: ended.set())
    with ExitStack() as beside:
        if port is not None:
            from service.web.watch_app import answering, make_watch_app

            try:
                beside.enter_context(answering(make_watch_app(engine, settings), host, port))
            except OSError as error:
                raise click.BadParameter(f"{error}; name another", param_hint="--port") from None
        beside.enter_context(ticking(engine, settings))
        click.echo("Running what is due. Stop by CTRL+C.")
        ended.wait()
