"""digseason serve"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click
import uvicorn

from service.accounts import make_first_link, needs_administrator
from service.cli.accounts import write_link
from service.links import Links
from service.memory import keep_little
from service.watching.logs import start_log
from service.web.app import make_app
from service.wiring import open_store


@click.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8064, show_default=True)
@click.option("--pages-only", is_flag=True, help="Run no rounds: `digseason jobs` does, apart.")
@click.pass_obj
def command(data: Path, host: str, port: int, pages_only: bool) -> None:
    """Serve pages and the HTTP API, and run the rounds that are due, until interrupted."""
    keep_little()
    settings, engine = open_store(data)
    start_log(settings.log)
    if needs_administrator(engine):
        link = make_first_link(Links(settings), datetime.now(UTC))
        click.echo(f"Make the first account: {write_link(settings, link, f'http://{host}:{port}')}")
    app = make_app(engine, settings, with_rounds=not pages_only)
    uvicorn.run(app, host=host, port=port, log_config=None, access_log=False)
