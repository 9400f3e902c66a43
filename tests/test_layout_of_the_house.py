"""The rooms import in one direction, what decides is pure, and the top level stays as agreed."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
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


@cache
def sources(package: str) -> list[tuple[str, ast.Module]]:
    """Return each module of a package: its path from the root and what it holds."""
    return [
        (path.relative_to(ROOT).as_posix(), ast.parse(path.read_text("utf-8")))
        for path in sorted((ROOT / package).rglob("*.py"))
    ]


def imported(module: ast.Module) -> Iterator[str]:
    """Yield the full name of everything a module imports, wherever in it."""
    for node in ast.walk(module):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield from (f"{node.module}.{name.name}" for name in node.names)


def is_of(name: str, rooms: tuple[str, ...]) -> bool:
    """Whether a full name is one of the rooms or lies in one."""
    return any(name == room or name.startswith(f"{room}.") for room in rooms)


def called(module: ast.Module) -> Iterator[str]:
    """Yield the last name of everything a module calls: "now" of datetime.now()."""
    for node in ast.walk(module):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node.func.attr


def test_probes_import_neither_alerts_nor_service() -> None:
    offences = [
        f"{path} imports {name}"
        for path, module in sources("probes")
        for name in imported(module)
        if is_of(name, ("alerts", "service"))
    ]
    assert offences == []


def test_alerts_import_of_ours_only_alerts_and_the_pure_modules_of_probes() -> None:
    offences = [
        f"{path} imports {name}"
        for path, module in sources("alerts")
        for name in imported(module)
        if is_of(name, ("probes", "service")) and not is_of(name, PURE_PROBES)
    ]
    assert offences == []


def test_what_decides_reaches_for_no_database_network_or_clock() -> None:
    offences = [
        f"{path} uses {name}"
        for package in ("probes", "alerts")
        for path, module in sources(package)
        if not path.startswith(FETCHING)
        for name in [
            *(name for name in imported(module) if is_of(name, OUTSIDE)),
            *(name for name in called(module) if name in CLOCK_CALLS),
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
