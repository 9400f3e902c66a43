"""The command in this process: quicker than one of its own, where that changes nothing."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from service.cli import main


def run(data: Path, *words: object, database_url: str = "") -> tuple[int, str]:
    """Run `digseason --data DATA WORDS...`; return its exit code and all that it printed."""
    runner = CliRunner(env={"DIGSEASON_DATABASE_URL": database_url})
    arguments = ["--data", str(data), *map(str, words)]
    result = runner.invoke(main, arguments, catch_exceptions=False)
    return result.exit_code, result.output


def digseason(data: Path, *words: object) -> str:
    """Run `digseason --data DATA WORDS...`, which must end well; return what it printed."""
    result = CliRunner().invoke(main, ["--data", str(data), *map(str, words)])
    assert result.exit_code == 0, result.output
    return result.stdout
