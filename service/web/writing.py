"""Requests that write to the store: a few at a time, those behind them hold no thread.

Who waits for a long import keeps a thread and a connection; many such requests would leave none for
those who only read.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from anyio import CapacityLimiter, to_thread
from anyio.lowlevel import RunVar

AT_ONCE = 4

T = TypeVar("T")

_writers: RunVar[CapacityLimiter] = RunVar("writers")


async def run_writing(function: Callable[..., T], *args: Any) -> T:
    """Run a function that writes, in a thread, once it is its turn."""
    try:
        limiter = _writers.get()
    except LookupError:
        limiter = CapacityLimiter(AT_ONCE)
        _writers.set(limiter)
    return await to_thread.run_sync(partial(function, *args), limiter=limiter)
