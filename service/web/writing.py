"""Requests that take long: a few at a time, those behind them hold no thread.

Who waits for a long import keeps a thread and a connection; many such requests would leave none for
those who only read. Who looks at a file before it is kept, or has a chart drawn, may take as long,
and keeps no one from writing.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from anyio import CapacityLimiter, to_thread
from anyio.lowlevel import RunVar

AT_ONCE = 4
LOOKS_AT_ONCE = 2  # each may hold a whole file as it is read

T = TypeVar("T")

_writers: RunVar[CapacityLimiter] = RunVar("writers")
_lookers: RunVar[CapacityLimiter] = RunVar("lookers")


async def run_writing(function: Callable[..., T], *args: Any) -> T:
    """Run a function that writes, in a thread, once it is its turn."""
    return await _run(_writers, AT_ONCE, function, *args)


async def run_looking(function: Callable[..., T], *args: Any) -> T:
    """Run a function that reads or draws for long and keeps nothing that others wait for, alike."""
    return await _run(_lookers, LOOKS_AT_ONCE, function, *args)


async def _run(
    of: RunVar[CapacityLimiter], at_once: int, function: Callable[..., T], *args: Any
) -> T:
    try:
        limiter = of.get()
    except LookupError:
        limiter = CapacityLimiter(at_once)
        of.set(limiter)
    return await to_thread.run_sync(partial(function, *args), limiter=limiter)
