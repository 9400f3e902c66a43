"""The rooms import in one direction, what decides is pure, and the top level stays as agreed."""

from __future__ import annotations

import ast
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PURE_PROBES = (
    *("probes.clock", "probes.frames", "probes.hand_days", "probes.hand_texts"),
    *("probes.soil", "probes.units"),
)
FETCHING = "probes/feeds/"  # the one room besides service that may use the network
OUTSIDE = (
    *("sqlalchemy", "sqlite3", "psycopg", "alembic"),
    *("requests", "urllib", "http", "socket", "smtplib", "subprocess"),
    *("time.time", "time.monotonic", "time.sleep", "random", "secrets", "os.environ"),
)
CLOCK_CALLS = ("now", "utcnow", "today", "getenv")
TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"),
    *("service", "probes", "alerts", "tests", "sample_logs", "deploy"),
}


@dataclass(frozen=True)
class Source:
    """A module: its path from the root, what it imports, what it calls.

    imports : the full name of everything, wherever in it
    calls : the last name of everything: "now" of datetime.now()
    """

    path: str
    imports: tuple[str, ...]
    calls: frozenset[str]


@cache
def read_sources(package: str) -> list[Source]:
    """Return the modules of a package."""
    return [read_source(path) for path in sorted((ROOT / package).rglob("*.py"))]


def read_source(path: Path) -> Source:
    imports: list[str] = []
    calls: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            imports += [name.name for name in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            imports += [f"{node.module}.{name.name}" for name in node.names]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            calls.add(node.func.attr)
    return Source(path.relative_to(ROOT).as_posix(), tuple(imports), frozenset(calls))


def is_of(name: str, rooms: tuple[str, ...]) -> bool:
    """Whether a full name is one of the rooms or lies in one."""
    return any(name == room or name.startswith(f"{room}.") for room in rooms)


def test_probes_import_neither_alerts_nor_service() -> None:
    offences = [
        f"{source.path} imports {name}"
        for source in read_sources("probes")
        for name in source.imports
        if is_of(name, ("alerts", "service"))
    ]
    assert offences == []


def test_alerts_import_of_ours_only_alerts_and_the_pure_modules_of_probes() -> None:
    offences = [
        f"{source.path} imports {name}"
        for source in read_sources("alerts")
        for name in source.imports
        if is_of(name, ("probes", "service")) and not is_of(name, PURE_PROBES)
    ]
    assert offences == []


def test_what_decides_reaches_for_no_database_network_or_clock() -> None:
    offences = [
        f"{source.path} uses {name}"
        for package in ("probes", "alerts")
        for source in read_sources(package)
        if not source.path.startswith(FETCHING)
        for name in [
            *(name for name in source.imports if is_of(name, OUTSIDE)),
            *source.calls.intersection(CLOCK_CALLS),
        ]
    ]
    assert offences == []


def test_the_top_level_holds_only_what_the_owner_allows() -> None:
    # safe.directory: the checkout may belong to someone else, as in a container
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-z"],  # noqa: S607 (git of the PATH)
        cwd=ROOT,
        capture_output=True,
        check=True,
        text=True,
    )
    names = {path.partition("/")[0] for path in listed.stdout.split("\0") if path}
    assert {name for name in names if not name.startswith(".")} - TOP_LEVEL == set()
