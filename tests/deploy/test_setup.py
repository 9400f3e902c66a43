"""What runs at the same time in deploy/setup.sh: each shown in one piece, and none fails unseen."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(script: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603 (our own scripts)
        ["sh", "-euc", f". deploy/setup.sh; {script}"],  # noqa: S607 (that of the PATH)
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def pieces(output: str) -> list[str]:
    """Return what was shown, in any order, without how many seconds each took."""
    return sorted(re.sub(r"\d+ s", "0 s", output).strip().split("\n\n"))


def test_what_runs_at_once_is_shown_each_in_one_piece() -> None:
    slow = "whole slow sh -c 'echo 1; sleep 0.2; echo 2 >&2'"
    ended = run(f"""at_once "{slow}" 'whole "quick one" echo 3'""")
    assert (ended.returncode, ended.stderr) == (0, "")
    assert pieces(ended.stdout) == ["-- quick one (0 s)\n3", "-- slow (0 s)\n1\n2"]


def test_where_one_fails_the_others_end_and_the_script_stops() -> None:
    bad, good = """'whole bad sh -c "echo why; exit 3"; say no'""", "'sleep 0.2; whole good true'"
    ended = run(f"at_once {bad} {good}; say no")
    assert (ended.returncode, ended.stderr) == (1, "Not all of it went well: see above.\n")
    assert pieces(ended.stdout) == ["-- bad (0 s, FAILED)\nwhy", "-- good (0 s)"]


def test_what_is_done_quietly_is_shown_where_it_fails() -> None:
    assert run("quietly echo well").stdout == ""
    ended = run("quietly sh -c 'echo why; exit 3'")
    assert (ended.returncode, ended.stderr) == (1, "why\nThis failed: sh -c echo why; exit 3\n")
