"""What is kept or refused in English has a form, and stands in the language of a visitor."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import service
from service.web.translating import DEEDS, FINDINGS, REFUSALS, translate

NOTING = {"note": 1, "note_deed": 2}
"""Where the deed stands among the arguments."""


def noted() -> Iterator[str]:
    """Yield each deed that the code notes, what varies in it as X."""
    for path in Path(service.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            place = NOTING.get(name)
            if place is None or len(node.args) <= place:
                continue
            yield from _read_text(node.args[place])


FOR_PROGRAMS = ("api", "bearer.py", "bounces.py", "signed.py", "texts.py")
"""Whose refusals no page shows."""


def refused() -> Iterator[str]:
    """Yield each refusal that a page may show, what varies in it as X."""
    for path in (Path(service.__file__).parent / "web").glob("*.py"):
        if path.name in FOR_PROGRAMS:
            continue
        tree = ast.parse(path.read_text("utf-8"))
        calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
        for call in calls:
            if getattr(call.func, "id", "") == "Problem" and len(call.args) > 1:
                yield from _read_text(call.args[1])
        for node in ast.walk(tree):
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "said":
                yield from _read_text(node.value)


def _read_text(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        parts = (part.value if isinstance(part, ast.Constant) else "X" for part in node.values)
        yield "".join(map(str, parts))


def test_every_refusal_that_a_page_shows_has_a_form() -> None:
    told = {one for one in refused() if " " in one and "token" not in one}
    assert len(told) > 30
    assert {one for one in told if translate(one, REFUSALS, "es") == one} == set()


def test_every_deed_that_is_noted_has_a_form() -> None:
    told = set(noted()) - {"shared a site X its exact place"}  # with or without
    assert len(told) > 20
    assert {one for one in told if translate(one, DEEDS, "es") == one} == set()


@pytest.mark.parametrize(
    ("said", "forms", "spanish"),
    [
        ("signed in", DEEDS, "entró"),
        ("made grower a coordinator", DEEDS, "cambió la función de cultivo a coordinación"),
        ("made a token to read", DEEDS, "hizo un token para leer"),
        ("this is not for a grower", REFUSALS, "esto no es para la función de cultivo"),
        ("the last one 3.2 hours ago", FINDINGS, "la última, hace 3.2 horas"),
        ("held since noon UTC: a restore", FINDINGS, "retenido desde noon UTC: a restore"),
        ("something of tomorrow", DEEDS, "something of tomorrow"),
    ],
)
def test_what_is_said_in_english_is_read_in_spanish(
    said: str, forms: tuple[str, ...], spanish: str
) -> None:
    assert translate(said, forms, "es") == spanish
    assert translate(said, forms, "en") == said
