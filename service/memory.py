"""What a process that runs for weeks keeps of the memory that it no longer uses."""

from __future__ import annotations

import ctypes

_M_ARENA_MAX, _ARENAS = -8, 2  # mallopt(3)


def keep_little() -> None:
    """Let threads share their free memory, before there are any.

    The GNU C library gives each thread an arena, which keeps the most that it ever held: where
    rounds run now in one thread and now in another, that is several times what one round takes.
    With another library nothing is done.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt:
        mallopt(_M_ARENA_MAX, _ARENAS)


def give_back() -> None:
    """Give the system all memory that is free.

    The GNU C library keeps what lies below something that is still used: after a round most of what
    the round took. With another library nothing is done.
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim:
        trim(0)
