"""The tables of deploy/README.md follow from figures of the benchmarks that were measured."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "deploy/README.md").read_text("utf-8")
# source: tests/benchmarks/README.md, figures of 26 November 2026
READING_BYTES, PUSH_BYTES = 131, 134 + 17 + 30
BACKUP_BYTES = 111 + PUSH_BYTES  # a push of four readings, in the SQLite file that a backup is
ROUND_S, OUTLOOK_S, PUSH_S, CHART_S = (11.6 + 3.4) / 10_000, 0.020, 0.048, 264 / 1199
HOURS = 8760
ROWS = re.findall(r"^\| ([\d,]+) \| ([\d,]+) \| (.+) \|$", GUIDE, re.MULTILINE)


@pytest.mark.parametrize(("probes", "blocks", "rest"), ROWS, ids=[row[0] for row in ROWS])
def test_a_size_follows_from_the_figures(probes: str, blocks: str, rest: str) -> None:
    count = int(blocks.replace(",", ""))
    assert int(probes.replace(",", "")) == 4 * count
    computed = (
        count * HOURS * (4 * READING_BYTES + PUSH_BYTES) / 1e9,
        count * HOURS * BACKUP_BYTES / 1e9,
        count / 3600 * PUSH_S,
        count * ROUND_S,
        count * OUTLOOK_S / 60,
    )
    shown = rest.replace(",", "").split(" | ")
    places = [len(text.partition(".")[2]) for text in shown]
    rounded = [f"{one:.{n}f}" for one, n in zip(computed, places, strict=True)]
    assert rounded == shown


@pytest.mark.parametrize(
    ("said", "computed"),
    [
        (r"at about ([\d,]+) blocks \(43,000 probes\)", 20 / CHART_S * 120),
        (r"at about ([\d,]+) blocks \(80,000 probes\)", 30 / ROUND_S),
        (r"at ([\d,]+) loggers \(300,000 probes\)", 3600 / PUSH_S),
        (r"at ([\d,]+) blocks in winter", 3600 / OUTLOOK_S),
        (r"seven take ([\d,]+) GB", 7 * 2000 * HOURS * BACKUP_BYTES / 1e9),
        (r"and ([\d,]+) after five", 5 * 7 * 2000 * HOURS * BACKUP_BYTES / 1e9),
        (r"or ([\d,]+) core hours", 4 * 8 * 730),
        (r"hours ([\d,]+) machine hours", 8 * 730),
        (r"readers take (\d+) minutes", 5000 / 60),
    ],
)
def test_a_limit_of_the_plan_follows_from_the_figures(said: str, computed: float) -> None:
    [shown] = re.findall(said, GUIDE)
    assert float(shown.replace(",", "")) == pytest.approx(computed, rel=0.02)
