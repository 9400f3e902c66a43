"""The corpus of logger files in tests/probes/corpus, and what must come of each."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from probes.frames import LoggerFile
from probes.layouts import Layout
from probes.logger_files import read_logger_file
from probes.proposing.trials import trial_layout

CORPUS = Path(__file__).parent / "probes" / "corpus"
_TABLE = tomllib.loads((CORPUS / "cases.toml").read_text(encoding="utf-8"))
NOW = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Case:
    """One way to read one file of the corpus; `cases.toml` explains its keys."""

    spec: dict[str, Any]

    @property
    def path(self) -> Path:
        return CORPUS / self.spec["file"]

    @property
    def layout(self) -> Layout:
        return trial_layout(_TABLE["layout"] | self.spec.get("layout", {}))

    @property
    def rows(self) -> list[str]:
        rows = self.spec["rows"]
        return _TABLE["rows"][rows] if isinstance(rows, str) else rows

    def read(self, path: Path | None = None) -> LoggerFile:
        """Read its file, or another one in its manner."""
        logger_id = self.spec.get("logger")
        latest_year = NOW.year + 1
        return read_logger_file(
            path or self.path, self.layout, logger_id=logger_id, latest_year=latest_year
        )


CASES = [Case(spec) for spec in _TABLE["case"]]
FILES = sorted(
    path.name
    for path in CORPUS.iterdir()
    if path.is_file() and path.suffix not in (".py", ".toml") and path.name != ".gitattributes"
)
