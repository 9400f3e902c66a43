"""An archive compared by several processes or hosts, in memory that does not grow with it."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib.metadata import version
from itertools import islice
from typing import TYPE_CHECKING, Any

from service.study.archive import ArchiveError, SomeCompared, Table

if TYPE_CHECKING:
    from distributed import Client

_AHEAD = 3
"""Parts a worker that wait for it or for whoever takes their results: memory stays what it is."""
_SCHEDULER_WITHIN_S, WORKER_WITHIN_S = 10, 30
_US = "digseason"


def compare_archive(
    compare: Callable[[Sequence[str]], SomeCompared[Table]],
    part: Callable[[int], Iterator[Sequence[str]]],
    scheduler: str = "",
    workers: int = 1,
) -> Iterator[SomeCompared[Table]]:
    """Yield the tables of some sites after the other, in their order.

    Parameters
    ----------
    compare : a method of an ArchiveStudy, run where there is a worker for it
    part : yields sites some at a time, for so many workers
    scheduler : str
        The address of a Dask scheduler whose workers have this Digseason, and the archive under
        the same path; empty: processes of this machine.
    workers : int
        How many processes of this machine; 1 takes no other at all.

    Raises
    ------
    ArchiveError
        When no scheduler answers, its workers cannot do it, or Dask is missing.
    """
    if not scheduler and workers == 1:
        yield from map(compare, part(1))
        return
    with _open_client(scheduler, workers) as client:
        there = max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        submit = partial(client.submit, compare, pure=False)
        rest = part(there)
        waiting: deque[Any] = deque(map(submit, islice(rest, _AHEAD * there)))
        while waiting:
            done = waiting.popleft()
            yield _take(done, scheduler)
            done.release()
            waiting.extend(map(submit, islice(rest, 1)))


def _take(done: Any, scheduler: str) -> Any:
    from distributed import CancelledError, KilledWorker

    try:
        return done.result()
    except KilledWorker as error:
        raise ArchiveError(
            f"workers ended over and over on the same sites ({error}): most often they had too "
            "little memory; see what they wrote, and give them more"
        ) from None
    except (CancelledError, OSError) as error:
        raise ArchiveError(
            f"the scheduler at {scheduler} went away ({error}); nothing is lost, run it again"
        ) from None


@contextmanager
def _open_client(scheduler: str, workers: int) -> Iterator[Client]:
    try:
        import dask.config
        from distributed import Client, LocalCluster
    except ImportError:
        raise ArchiveError(
            "several processes need Dask: pip install 'digseason[cluster]', or leave out "
            "--workers and --scheduler"
        ) from None
    if scheduler:
        try:
            client = Client(scheduler, timeout=f"{_SCHEDULER_WITHIN_S}s")
        except (OSError, ValueError) as error:
            raise ArchiveError(f"no scheduler answers at {scheduler}: {error}") from None
        with client:
            _need_workers(client, scheduler)
            yield client
        return
    with (
        dask.config.set({"distributed.worker.profile.enabled": False}),  # it costs a tenth
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            silence_logs=logging.ERROR,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


def _need_workers(client: Client, scheduler: str) -> None:
    """Raise where a scheduler has no workers, or one of them has another Digseason."""
    try:
        client.wait_for_workers(1, timeout=WORKER_WITHIN_S)
    except TimeoutError:
        raise ArchiveError(
            f"the scheduler at {scheduler} has no worker; start one: dask worker {scheduler}"
        ) from None
    ours = version(_US)
    found: Any = client.run(version, _US, on_error="return")
    for worker, theirs in found.items():
        if theirs != ours:
            has = "none" if isinstance(theirs, Exception) else theirs
            raise ArchiveError(
                f"worker {worker} needs Digseason {ours}, has {has}; install it there"
            )
