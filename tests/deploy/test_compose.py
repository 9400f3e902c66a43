"""The compose file: by the open schema of such files, and by what it starts."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import click
import pytest
import yaml
from jsonschema import Draft201909Validator

from service.cli import main
from tests.deploy.containerfile import read_steps
from tests.deploy.told import GUIDE, ROOT, find_commands
from tests.pg import find_programs

COMPOSE = yaml.safe_load((ROOT / "deploy/compose.yaml").read_text("utf-8"))
# source: [COMPOSE-SPEC]
SCHEMA = json.loads(Path(__file__).with_name("compose-spec.json").read_text("utf-8"))
SANDBOX = (ROOT / "deploy/systemd/digseason-.service.d/sandbox.conf").read_text("utf-8")
IMAGE = dict(read_steps(ROOT / "deploy/Containerfile"))
OURS = {name: one for name, one in COMPOSE["services"].items() if "digseason" in one["image"]}


def faults(compose: Any) -> list[str]:
    return [fault.message for fault in Draft201909Validator(SCHEMA).iter_errors(compose)]


def test_the_compose_file_is_one_by_the_open_schema() -> None:
    assert faults(COMPOSE) == []
    assert faults({"services": {"web": {"imagine": "digseason"}}}) != []


@pytest.mark.parametrize("name", OURS)
def test_a_service_starts_a_command_that_there_is_and_can_write_to_its_volumes_only(
    name: str,
) -> None:
    service = OURS[name]
    command, *words = service.get("command", json.loads(IMAGE["CMD"]))
    found = main.get_command(click.Context(main), command)
    assert found
    assert found.make_context(command, words).command is found
    assert (service["read_only"], service["cap_drop"]) == (True, ["ALL"])


def test_a_container_may_take_as_much_memory_as_a_unit(tmp_path: Path) -> None:
    [line] = [line for line in find_commands(GUIDE, "In containers") if "MEMORY=" in line]
    subprocess.run(["sh", "-euc", line], cwd=tmp_path, check=True)  # noqa: S603, S607
    written = (tmp_path / ".env").read_text("utf-8")
    [percent] = re.findall(r"^MemoryMax=(\d+)%$", SANDBOX, re.MULTILINE)
    # source: proc_meminfo(5), MemTotal, in KiB as k is in a compose file: from memory
    _, machine, *_ = Path("/proc/meminfo").read_text("utf-8").split()
    assert {one["mem_limit"] for one in OURS.values()} == {"${MEMORY:?write it into .env}"}
    assert written == f"MEMORY={int(machine) * int(percent) // 100}k\n"


def test_only_the_proxy_can_be_reached_and_only_the_database_lies_apart() -> None:
    services = COMPOSE["services"]
    assert [name for name, one in services.items() if "ports" in one] == ["proxy"]
    assert [name for name, one in services.items() if "outside" not in one["networks"]] == [
        "database"
    ]
    assert COMPOSE["networks"]["inside"] == {"internal": True}


def test_logs_are_bounded_and_no_service_is_without() -> None:
    logging = [one["logging"] for one in COMPOSE["services"].values()]
    assert all(one["options"]["max-size"] for one in logging)


def test_the_database_keeps_checksums_of_its_pages_from_the_beginning() -> None:
    words = COMPOSE["services"]["database"]["environment"]["POSTGRES_INITDB_ARGS"].split()
    # source: what an initdb says of itself; that the image hands these words to it: from memory
    options = subprocess.run(  # noqa: S603 (no input of others)
        [find_programs() / "initdb", "--help"], check=True, capture_output=True, text=True
    ).stdout
    assert words == ["--data-checksums"]
    assert words[0] in options


def test_images_are_named_without_a_registry() -> None:
    images = {one["image"] for one in COMPOSE["services"].values()}
    assert {image for image in images if "/" in image or ":" not in image} == set()
