"""Completion by click's own scripts, in the shells themselves."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

BASH = """
eval "$(_DIGSEASON_COMPLETE=bash_source digseason)"
complete -p digseason | grep -q _digseason_completion
COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
_digseason_completion digseason
printf '%s\\n' "${COMPREPLY[@]}"
"""
ZSH = """
compdef() { [[ $2 == digseason ]] }
_describe() { print -l -- ${${(P)3}%%:*} }
compadd() { print -l -- ${(P)@[-1]} }
eval "$(_DIGSEASON_COMPLETE=zsh_source digseason)"
words=("$@") CURRENT=$#
_digseason_completion
"""
FISH = """
env _DIGSEASON_COMPLETE=fish_source digseason | source
complete -C "$argv" | string split -f 1 \\t
"""
SHELLS = {
    "bash": ["bash", "-c", BASH, "bash"],
    "zsh": ["zsh", "-c", ZSH, "zsh"],
    "fish": ["fish", "--no-config", "-c", FISH],
}
LINES = {
    "digseason im": ["import", "imports"],
    "digseason imports wi": ["withdraw"],
    "digseason backup --k": ["--keep"],
}
BY_DAY = ("bash", "digseason imports wi")  # each takes two starts of the command


@pytest.fixture(scope="module")
def bin_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the command under its name, as an installation has one."""
    folder = tmp_path_factory.mktemp("bin")
    program = folder / "digseason"
    program.write_text(f"#!{sys.executable}\nfrom service.cli import main\nmain()\n")
    program.chmod(0o755)
    return folder


@pytest.mark.parametrize(
    ("shell", "line"),
    [
        pytest.param(*both, marks=() if both == BY_DAY else pytest.mark.long)
        for both in product(SHELLS, LINES)
    ],
)
def test_a_shell_completes_what_is_typed(shell: str, line: str, bin_folder: Path) -> None:
    typed = [line] if shell == "fish" else line.split()
    completed = subprocess.run(  # noqa: S603 (the shells of the PATH)
        [*SHELLS[shell], *typed],
        env={
            **os.environ,
            "PATH": f"{bin_folder}:{os.environ['PATH']}",
            "PYTHONPATH": str(Path(__file__).parents[2]),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert (completed.stdout.split(), completed.stderr) == (LINES[line], "")
