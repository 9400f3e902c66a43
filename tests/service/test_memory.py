"""A process that runs for weeks shares the free memory of its threads, and gives it back."""

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


_GIVE_BACK = """
from pathlib import Path
from service.memory import give_back

def find_resident():
    return int(Path("/proc/self/statm").read_text().split()[1])
before = find_resident()
held = [bytes(1000) for _ in range(50_000)]
last = bytes(1000)
full = find_resident()
held.clear()
kept = find_resident()
give_back()
print(full - before, kept - before, find_resident() - before)
"""


def test_free_memory_goes_back_to_the_system() -> None:
    command = [sys.executable, "-c", _GIVE_BACK]
    said = subprocess.run(command, check=True, capture_output=True).stdout  # noqa: S603 (our own words)
    full, kept, left = map(int, said.split())
    assert kept > 0.9 * full  # what lies above is still used
    assert left < 0.1 * full
