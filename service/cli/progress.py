"""A bar for what takes a while, where someone looks on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

STEPS = 1000


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[float], None]]:
    """Draw a bar; give what is told the share that is done, from 0 to 1."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=STEPS, label=title, file=sys.stderr) as bar:
        yield lambda share: bar.update(round(share * STEPS) - bar.pos)
