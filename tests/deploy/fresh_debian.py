"""A fresh Debian in a folder, by debootstrap; commands in it, or its systemd, by systemd-nspawn.

Needs root. The tree reaches the package registries as this machine does.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NSPAWN = "systemd-nspawn", "--quiet", "--register=no", "--keep-unit"
TRIAL_UNIT = """
[Unit]
After=basic.target dbus.socket postgresql.service
[Service]
Type=oneshot
ExecStart=/bin/sh -c 'sh -eu /root/trial.sh >/root/trial.log 2>&1'
ExecStopPost=/bin/systemctl --no-block poweroff
"""
REACHING = "/etc/apt/sources.list.d", "/etc/apt/apt.conf.d", "/etc/pip.conf", "/etc/resolv.conf"
AUTHORITIES = "/etc/ssl/of-the-host.crt"


@contextmanager
def fresh_debian(root: Path, suite: str = "bookworm") -> Iterator[Path]:
    """Give a folder with the least of Debian and Python, and take it away in the end."""
    words = "debootstrap", "--variant=minbase", "--include=python3", suite, root
    subprocess.run([*map(str, words)], check=True, stdout=subprocess.DEVNULL)  # noqa: S603 (Debian's)
    try:
        (root / "etc/apt/sources.list").unlink(missing_ok=True)
        for path in filter(Path.exists, map(Path, REACHING)):
            inside = root / path.relative_to("/")
            if path.is_dir():
                shutil.copytree(path, inside, dirs_exist_ok=True)
            else:
                shutil.copy(path, inside)
        if "SSL_CERT_FILE" in os.environ:
            (root / AUTHORITIES[1:]).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(os.environ["SSL_CERT_FILE"], root / AUTHORITIES[1:])
        yield root
    finally:
        shutil.rmtree(root)


def run_in(
    root: Path, script: str, timeout_s: float, *, apart: bool = False
) -> subprocess.CompletedProcess[str]:
    """Run a script of the shell in the tree as root; all that it started has ended then.

    apart : with no network but a loopback of its own
    """
    words = ["--as-pid2", "--pipe", *(["--private-network"] if apart else [])]
    if (root / AUTHORITIES[1:]).exists():
        words += [f"--setenv={name}={AUTHORITIES}" for name in ("PIP_CERT", "SSL_CERT_FILE")]
    return subprocess.run(  # noqa: S603 (a script of ours)
        [*NSPAWN, *words, "-D", str(root), "sh", "-euc", script],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=timeout_s,
        check=False,
    )


def boot(root: Path, script: str, timeout_s: float) -> str:
    """Boot the tree with its systemd, run a script there and end it; return what that printed."""
    (root / "root/trial.sh").write_text(script, "utf-8")
    unit = root / "etc/systemd/system/trial.service"
    unit.write_text(TRIAL_UNIT, "utf-8")
    wants = unit.parent / "multi-user.target.wants"
    wants.mkdir(exist_ok=True)
    (wants / unit.name).symlink_to(unit.relative_to(root))
    subprocess.run(  # noqa: S603 (Debian's)
        [*NSPAWN, "--private-network", "--boot", "-D", str(root)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        timeout=timeout_s,
        check=True,
    )
    return (root / "root/trial.log").read_text("utf-8")
