"""digseason serve"""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from pathlib import Path

import click
import uvicorn

from service.accounts import make_first_link, needs_administrator
from service.cli.accounts import write_link
from service.cli.jobs import start_log
from service.links import Links
from service.web.app import make_app
from service.web.hand_page import HideTokens
from service.wiring import open_store


@click.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8064, show_default=True)
@click.option("--pages-only", is_flag=True, help="Run no rounds: `digseason jobs` does, apart.")
@click.pass_obj
def command(data: Path, host: str, port: int, pages_only: bool) -> None:
    """Serve pages and the HTTP API, and run the rounds that are due, until interrupted."""
    start_log()
    logging.getLogger("uvicorn.access").addFilter(HideTokens())
    settings, engine = open_store(data)
    if needs_administrator(engine):
        link = make_first_link(Links(settings), datetime.now(UTC))
        click.echo(f"Make the first account: {write_link(settings, link, f'http://{host}:{port}')}")
    uvicorn.run(make_app(engine, settings, with_rounds=not pages_only), host=host, port=port)
