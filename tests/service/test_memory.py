"""A process that runs for weeks shares the free memory of its threads."""

from __future__ import annotations

import subprocess
import sys

_COUNT_ARENAS = """
import ctypes, sys, tempfile
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from service.memory import keep_little

if sys.argv[1] == "little":
    keep_little()
barrier = Barrier(6)
def work(_):
    held = [bytes(1000) for _ in range(1000)]
    barrier.wait()
with ThreadPoolExecutor(6) as pool:
    list(pool.map(work, range(6)))
c = ctypes.CDLL(None)
c.fopen.restype = ctypes.c_void_p
with tempfile.NamedTemporaryFile() as file:
    stream = ctypes.c_void_p(c.fopen(file.name.encode(), b"w"))
    c.malloc_info(0, stream)
    c.fclose(stream)
    print(file.read().count(b"<heap nr="))
"""


def test_threads_share_their_free_memory() -> None:
    def count(word: str) -> int:
        command = [sys.executable, "-c", _COUNT_ARENAS, word]
        return int(subprocess.run(command, check=True, capture_output=True).stdout)  # noqa: S603 (our own words)

    assert count("little") <= 2 < count("much")
