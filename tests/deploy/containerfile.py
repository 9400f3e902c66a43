"""A container file without an engine: its steps in a folder that stands for its base."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.deploy.fresh_debian import run_in


@dataclass
class Image:
    """What the steps have come to.

    command, health : as lists of words
    """

    root: Path
    base: str = ""
    user: str = "root"
    folder: str = "/"
    environment: dict[str, str] = field(default_factory=dict)
    entry: list[str] = field(default_factory=list)
    command: list[str] = field(default_factory=list)
    health: list[str] = field(default_factory=list)


def read_steps(path: Path) -> Iterator[tuple[str, str]]:
    """Give the name and the words of each step of a container file."""
    text = re.sub(r"^#.*\n", "", path.read_text("utf-8"), flags=re.MULTILINE)
    for step in filter(None, text.replace("\\\n", " ").split("\n")):
        name, _, words = step.partition(" ")
        yield name, words


def build(path: Path, context: Path, root: Path, timeout_s: float) -> Image:
    """Take the steps of a container file in `root`; one that is not known is an error."""
    image = Image(root)
    for name, words in read_steps(path):
        match name:
            case "FROM":
                image.base = words
            case "RUN":
                done = run_in(root, f"cd {image.folder}; {words}", timeout_s)
                assert done.returncode == 0, done.stdout
            case "COPY":
                *sources, target = words.split()
                _copy(context, sources, root / image.folder[1:] / target)
            case "WORKDIR":
                image.folder = words
                (root / words[1:]).mkdir(parents=True, exist_ok=True)
            case "USER":
                image.user = words
            case "ENV":
                image.environment |= dict([words.split("=", 1)])
            case "ENTRYPOINT":
                image.entry = json.loads(words)
            case "CMD":
                image.command = json.loads(words)
            case "HEALTHCHECK":
                image.health = json.loads(words.removeprefix("CMD "))
            case _:
                raise ValueError(f"no such step: {name} {words}")
    return image


def as_script(image: Image, words: list[str]) -> str:
    """Return the line of a shell that runs words as the image's user, in its environment."""
    settings = [f"{name}={value}" for name, value in image.environment.items()]
    user = f"--reuid={image.user}", f"--regid={image.user}", "--clear-groups", "--no-new-privs"
    return shlex.join(["env", "-C", image.folder, *settings, "setpriv", *user, *words])


def _copy(context: Path, sources: list[str], target: Path) -> None:
    for source in map(context.joinpath, sources):
        if source.is_dir():
            shutil.copytree(source, target, dirs_exist_ok=True)
        else:
            target.mkdir(parents=True, exist_ok=True)
            shutil.copy(source, target)
