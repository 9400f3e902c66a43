"""Whether anything that the lock files pin has a known vulnerability.

Fails where one is known that is not accepted below. Where the index that knows them cannot be asked
nothing fails: one line says what was not audited, and why.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

LOCKS = ("requirements-dev.lock", "requirements-peers.lock")
"""The first holds all that users get as well."""
LONGEST_S = 60
ACCEPTED: dict[str, str] = {}
"""Vulnerabilities that have no fix: the id -> why they do no harm here, until when."""


def audit(lock: Path) -> tuple[dict[str, Any] | None, str]:
    """Return what is known of the packages of a lock file; None, and why, where nothing is."""
    command = [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes"]
    command += ["-r", str(lock), "-f", "json", "--progress-spinner", "off", "--timeout", "5"]
    try:
        ran = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S)  # noqa: S603 (no input)
    except subprocess.TimeoutExpired:
        return None, f"no answer within {LONGEST_S} s"
    try:
        return json.loads(ran.stdout), ""
    except json.JSONDecodeError:
        return None, (ran.stderr.strip().splitlines() or ["no answer"])[-1][:200]


def find_known(report: dict[str, Any]) -> Iterator[str]:
    """Yield each vulnerability that is not accepted, in a line."""
    for package in report["dependencies"]:
        for one in package.get("vulns", ()):
            if ACCEPTED.keys().isdisjoint({one["id"], *one["aliases"]}):
                fixed = ", ".join(one["fix_versions"]) or "nothing yet"
                yield f"{package['name']} {package['version']}: {one['id']}, fixed by {fixed}"


def say_unasked(report: dict[str, Any]) -> str | None:
    """Return how many packages the index said nothing of, and why not of the first."""
    unasked = [one for one in report["dependencies"] if "skip_reason" in one]
    if not unasked:
        return None
    return f"{len(unasked)} of {len(report['dependencies'])}: {unasked[0]['skip_reason']}"


def sum_up(known: list[str], audited: int, whole: bool) -> str:
    """Return the last word: each vulnerability, or how much it says that there is none.

    audited : packages that the index answered for
    whole : whether these are all
    """
    if known:
        return "\n".join(known)
    if not audited:
        return "NOTHING AUDITED: whether a vulnerability is known could not be asked"
    rest = "" if whole else "; of what was not audited this says nothing"
    return f"no vulnerability is known in {audited} packages{rest}"


def main() -> int:
    """Audit all lock files; 1 where something is to be done."""
    paths = [Path(__file__).with_name(name) for name in LOCKS]
    with ThreadPoolExecutor() as at_once:
        reports = list(at_once.map(audit, paths))
    known: list[str] = []
    audited, whole = 0, True
    for path, (report, why) in zip(paths, reports, strict=True):
        unasked = say_unasked(report) if report else why
        if report:
            known += find_known(report)
            audited += sum("skip_reason" not in one for one in report["dependencies"])
        whole &= unasked is None
        print(f"{path.name}: {f'NOT AUDITED, {unasked}' if unasked else 'audited'}")
    print(sum_up(known, audited, whole))
    return bool(known)


if __name__ == "__main__":
    sys.exit(main())
