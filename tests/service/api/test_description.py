"""The description of the API: valid, with units, and who may use what by which secret."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
import requests
from openapi_spec_validator import validate

README = Path(__file__).parents[3] / "README.md"
UNITS = {"_c": "C", "_cm": "cm", "_m": "m", "_min": "min", "_h": "h", "_at": "UTC"}
"""What the description of a field names that ends so."""


@pytest.fixture(scope="module")
def described(here: str) -> dict[str, Any]:
    return requests.get(f"{here}/openapi.json", timeout=30).json()


def test_it_is_valid(described: dict[str, Any]) -> None:
    validate(described)  # source: [OPENAPI], by the open library openapi-spec-validator
    assert described["openapi"].startswith("3.1")


def test_each_field_with_a_unit_says_which(described: dict[str, Any]) -> None:
    fields = {
        (name, field): schema.get("description", "")
        for name, one in described["components"]["schemas"].items()
        if name.endswith("Record")
        for field, schema in one["properties"].items()
    }
    with_units = {
        key: (said, unit)
        for key, said in fields.items()
        for ending, unit in UNITS.items()
        if key[1].endswith(ending)
    }
    assert len(with_units) > 30
    assert [key for key, (said, unit) in with_units.items() if unit not in said] == []


def test_each_operation_says_who_may_use_it_and_by_what(described: dict[str, Any]) -> None:
    schemes = described["components"]["securitySchemes"]
    # source: [OPENAPI] 4.8.27
    assert schemes["session"] == {"type": "apiKey", "in": "cookie", "name": "digseason"}
    assert schemes["account-token"]["scheme"] == "bearer"
    paths = described["paths"]
    assert paths["/api/blocks"]["get"]["security"] == [
        {"session": []},
        {"account-token": ["read"]},
    ]
    withdraw = paths["/api/imports/{import_id}/withdraw"]["post"]
    assert {"account-token": ["write"]} in withdraw["security"]
    assert withdraw["x-roles"] == ["administrator", "grower"]
    assert paths["/api/readings"]["post"]["security"] == [{"logger-token": []}]
    open_ones = {
        path
        for path, methods in paths.items()
        for one in methods.values()
        if path.startswith("/api") and "security" not in one
    }
    assert open_ones == {"/api/texts", "/api/bounces"}  # signed, each by its own header


def test_the_page_for_people_shows_every_operation(here: str, described: dict[str, Any]) -> None:
    page = requests.get(f"{here}/docs", timeout=30).text
    shown = set(re.findall(r"<h2><code>([A-Z]+ [^<]+)</code>", page))
    calls = {f"{way.upper()} {path}" for path, ways in described["paths"].items() for way in ways}
    assert shown == calls


def test_what_the_readme_asks_for_is_there(described: dict[str, Any]) -> None:
    text = README.read_text("utf-8")
    asked = [urlsplit(url) for url in re.findall(r'TOKEN".* "(http://\S+/api/\S+)"', text)]
    wrong = [
        one.geturl()
        for one in asked
        if not {name for name, _ in parse_qsl(one.query)}
        <= {
            of["name"]
            for way in described["paths"][one.path].values()
            for of in way.get("parameters", ())
        }
    ]
    assert len(asked) >= 3
    assert wrong == []
