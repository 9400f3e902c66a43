"""Logger files for the tests of reading, written by hand, and the layout they are read with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from probes.clock import parse_clock
from probes.frames import LoggerFile
from probes.layouts import Layout
from probes.logger_files import read_logger_file


def layout(clock: str = "UTC-08:00", **fields: Any) -> Layout:
    """Return the layout of a plain file, with some fields otherwise."""
    plain = {
        "name": "upper",
        "time": ("Time",),
        "time_format": "%Y-%m-%d %H:%M",
        "stamp": "end",
        "interval_min": 60,
        "unit": "C",
        "columns": {"10 cm": 10.0, "30 cm": 30.0},
    }
    return Layout(clock=parse_clock(clock), **(plain | fields))


def read(folder: Path, content: str | bytes, clock: str = "UTC-08:00", **fields: Any) -> LoggerFile:
    """Write a file as it stands and read it."""
    path = folder / "upper.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_logger_file(path, layout(clock, **fields))
