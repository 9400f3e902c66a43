"""What is kept, refused or fails in English has a form, and stands in the language of a visitor."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from inspect import getsource
from pathlib import Path
from types import MappingProxyType

import pytest

import service
from service.channels import files, gateway, smtp
from service.web.failure_forms import FAILURES
from service.web.translating import DEEDS, FINDINGS, INVALID, REFUSALS, translate

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


def failed() -> Iterator[str]:
    """Yield each way in which a channel fails, what varies in it as X."""
    for module in (smtp, gateway, files):
        for node in ast.walk(ast.parse(getsource(module))):
            match node:
                case ast.Raise(exc=ast.Call(func=ast.Name(id), args=[said, *_])) if "Error" in id:
                    yield from _read_text(said, vars(module))
                case ast.FunctionDef(name="_explain"):
                    ends = (one.value for one in ast.walk(node) if isinstance(one, ast.Return))
                    yield from (f"X {text}" for one in ends if one for text in _read_text(one))
                case _:
                    pass


def _read_text(node: ast.expr, known: Mapping[str, object] = MappingProxyType({})) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        yield "".join(
            f"{part.value}"
            if isinstance(part, ast.Constant)
            else f"{known.get(getattr(part.value, 'id', ''), 'X')}"  # type: ignore[attr-defined]
            for part in node.values
        )


def test_every_failure_of_a_channel_has_a_form() -> None:
    told = {one.replace("X;", "X answers X;") for one in failed() if not one.endswith("X X")}
    assert len(told) > 15
    assert {one for one in told if translate(one, FAILURES, "es") == one} == set()


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
        (
            "mx:25 cannot be reached (connection refused); check DIGSEASON_SMTP_HOST and "
            "DIGSEASON_SMTP_PORT",
            FAILURES,
            "no se llega a mx:25 (conexión rechazada); comprobar DIGSEASON_SMTP_HOST y "
            "DIGSEASON_SMTP_PORT",
        ),
        ("came back: 550 no such user", FAILURES, "devuelto: 550 no such user"),
        (
            "crews: '0': Input should be greater than or equal to 1",
            INVALID,
            "crews: '0': ha de ser 1 o más",
        ),
    ],
)
def test_what_is_said_in_english_is_read_in_spanish(
    said: str, forms: tuple[str, ...], spanish: str
) -> None:
    assert translate(said, forms, "es") == spanish
    assert translate(said, forms, "en") == said
