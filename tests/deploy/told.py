"""What the READMEs tell people to type."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
GUIDE = (ROOT / "deploy/README.md").read_text("utf-8")


def find_commands(text: str, heading: str) -> list[str]:
    """Return the indented lines of a section."""
    section = text.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"^    (\S.*)$", section, re.MULTILINE)


def find_typed(text: str) -> list[str]:
    """Return the lines of all console blocks that are typed, by a user (`$`) or by root (`#`)."""
    blocks = re.findall(r"^```console\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return re.findall(r"^[$#] (.+)$", "".join(blocks), re.MULTILINE)
