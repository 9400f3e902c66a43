"""The command in this process: quicker than one of its own, where that changes nothing."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from service.cli import main


def digseason(data: Path, *words: object) -> str:
    """Run `digseason --data DATA WORDS...`, which must end well; return what it printed."""
    result = CliRunner().invoke(main, ["--data", str(data), *map(str, words)])
    assert result.exit_code == 0, result.output
    return result.stdout
