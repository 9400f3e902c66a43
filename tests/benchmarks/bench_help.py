"""How long `digseason --help` takes, the whole process.

Run: python -m tests.benchmarks.bench_help
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from tests.benchmarks.bars import Bar, judge

RUNS = 10


def main() -> None:
    """Print the shortest of ten runs."""
    words = [str(Path(sys.executable).with_name("digseason")), "--help"]
    seconds = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 (our own)
        seconds.append(time.perf_counter() - begun)
    judge([Bar("digseason --help, s", min(seconds), "< 0.3")])


if __name__ == "__main__":
    main()
