"""The real command in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

COMMAND = [sys.executable, "-c", "from service.cli import main; main()"]


def start(
    data: Path, *words: str, database_url: str = "", env: Mapping[str, str] | None = None
) -> subprocess.Popen[str]:
    """Start `digseason --data DATA WORDS...`."""
    return subprocess.Popen(  # noqa: S603 (our own command)
        [*COMMAND, "--data", str(data), *words],
        env={**os.environ, "DIGSEASON_DATABASE_URL": database_url, **(env or {})},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def run(data: Path, *words: str, database_url: str = "") -> tuple[int, str]:
    """Run it to its end; return its exit code and what it printed."""
    process = start(data, *words, database_url=database_url)
    output, _ = process.communicate(timeout=120)
    return process.returncode, output
