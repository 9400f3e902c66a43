"""The tables and limits of deploy/README.md follow from the figures that the benchmarks have."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "deploy/README.md").read_text("utf-8")
SAID = " ".join(GUIDE.split())
BENCHMARKS = (ROOT / "tests/benchmarks/README.md").read_text("utf-8")


def find_figures(pattern: str, text: str = BENCHMARKS) -> list[float]:
    """Return the numbers, each a # of a pattern that is there once."""
    [found] = re.finditer(pattern.replace("#", r"([\d.,]*\d)"), text, re.MULTILINE)
    return [float(one.replace(",", "")) for one in found.groups()]


def with_probes(blocks: float) -> list[float]:
    """Return how many blocks, and how many probes those have."""
    return [blocks, 4 * blocks]


# source: tests/benchmarks/README.md
[READING_BYTES] = find_figures(r"^\| postgresql \| 70,080,000 \|.+\| # \|$")
[SQLITE_BYTES] = find_figures(r"push of four readings to SQLite, its readings \| # bytes")
PUSH_BYTES = sum(find_figures(r"what is kept of that push: .+ \| # \+ # \+ # bytes"))
[PUSH_MS] = find_figures(r"push of four readings over HTTP, on PostgreSQL \| # ms of processor")
CPU_S, QUERIES_S = find_figures(r"^\| postgresql, 10,000,.+\| 2 \| [\d.]+ \| # \| # \|")
[OUTLOOK_MS] = find_figures(r"In winter, .+, a block takes # ms")
CHARTS, CHARTS_S = find_figures(r"^# charts, by 40 of them, take # s of a core")
[COMPOSING_S] = find_figures(r"^\| composing \|.+\| # \|$")
[HANDING_OVER_S] = find_figures(r"^\| handing over \|.+\| # \|$")
BACKUP_BYTES = SQLITE_BYTES + PUSH_BYTES
ROUND_S, CHART_S = (CPU_S + QUERIES_S) / 10_000, CHARTS_S / CHARTS
CORE, TEXTS = 730 * 0.04, 5000 * 0.07  # a month of one, one to each reader: assumed prices
MILLION_GB = 4 * (20 + 386) + 4 * 386  # with one base backup
HOURS, BLOCKS = 8760, [100, 2_000, 10_000, 25_000, 62_500, 250_000]


def test_the_table_has_a_line_for_each_size() -> None:
    assert len(re.findall(r"^\| [\d,]+ \| [\d,]+ \| .+ \|$", GUIDE, re.MULTILINE)) == len(BLOCKS)


@pytest.mark.parametrize("blocks", BLOCKS)
def test_a_size_follows_from_the_figures(blocks: int) -> None:
    line = rf"^\| {4 * blocks:,} \| {blocks:,} \| (.+) \|$"
    [shown] = re.findall(line, GUIDE, re.MULTILINE)
    computed = (
        blocks * HOURS * (4 * READING_BYTES + PUSH_BYTES) / 1e9,
        blocks * HOURS * BACKUP_BYTES / 1e9,
        blocks / 3600 * PUSH_MS / 1000,
        blocks * ROUND_S,
        blocks * OUTLOOK_MS / 1000 / 60,
    )
    cells = shown.replace(",", "").split(" | ")
    places = [len(text.partition(".")[2]) for text in cells]
    assert [f"{one:.{n}f}" for one, n in zip(computed, places, strict=True)] == cells


@pytest.mark.parametrize(
    ("said", "computed"),
    [
        (r": # bytes a reading on PostgreSQL", [READING_BYTES]),
        (r"a reading on PostgreSQL and # of each push;", [PUSH_BYTES]),
        (r"# ms of processor of the service a push", [PUSH_MS]),
        (r"a round # ms a block", [1000 * ROUND_S]),
        (r"outlooks of winter # ms a block", [OUTLOOK_MS]),
        (r"by # bytes for the four readings of a push", [SQLITE_BYTES]),
        (r"readings of a push and # of the push itself", [PUSH_BYTES]),
        (r"seven take # GB after a year", [7 * 2000 * HOURS * BACKUP_BYTES / 1e9]),
        (r"and # after five", [5 * 7 * 2000 * HOURS * BACKUP_BYTES / 1e9]),
        (r"A chart takes # s;", [CHART_S]),
        (
            r"Charts drawn ahead\*\*, at about # blocks \(# probes\)",
            with_probes(120 * 20 / CHART_S),
        ),
        (r"at about # blocks \(# probes\) one takes", with_probes(30 / ROUND_S)),
        (r"at # loggers \(# probes\) if they come evenly", with_probes(3600 * 1000 / PUSH_MS)),
        (r"at # blocks in winter \(# probes\)", with_probes(3600 * 1000 / OUTLOOK_MS)),
        (r"# machine hours or # core hours", [8 * 730, 4 * 8 * 730]),
        (r"readers take # minutes", [5000 / 60]),
        (r"handing over takes # s of a core", [COMPOSING_S + HANDING_OVER_S]),
        (r"cost # for cores", [32 * CORE]),
        (r"# for disk: # a month", [MILLION_GB * 0.10, 32 * CORE + MILLION_GB * 0.10]),
        (r"a month, # a logger", [(32 * CORE + MILLION_GB * 0.10) / 250_000]),
        (r"cost # for two cores and #", [2 * CORE, (12 + 36) * 0.10]),
        (r"5,000 readers costs #, four a year #\.", [TEXTS, 4 * TEXTS]),
    ],
)
def test_a_limit_of_the_plan_follows_from_the_figures(said: str, computed: list[float]) -> None:
    assert find_figures(said, SAID) == pytest.approx(computed, rel=0.02)
