"""Servers that are not ours, in .venv-peers, which `sh deploy/test` makes."""

from __future__ import annotations

import contextlib
import subprocess
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
PYTHON = ROOT / ".venv-peers" / "bin" / "python"
PEERS = ROOT / "tests" / "peers"


@contextlib.contextmanager
def running_peer(program: str, folder: Path, *words: str) -> Iterator[str]:
    """Give the address that a program of tests/peers says; it keeps what is its own in `folder`,
    and ends with the block.
    """
    with (folder / "server.log").open("w") as log:
        process = subprocess.Popen(  # noqa: S603 (our own arguments)
            [need_python(), PEERS / program, folder, *words],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
        try:
            assert process.stdout is not None
            address = process.stdout.readline().strip()
            if not address:
                raise RuntimeError(f"no server:\n{(folder / 'server.log').read_text()}")
            yield address
        finally:
            process.kill()
            process.communicate()


def need_python() -> Path:
    """Return the Python of the peers."""
    if not PYTHON.exists():
        raise FileNotFoundError(f"no {PYTHON}; make it: sh deploy/test")
    return PYTHON
