"""What pages do the API does too: each of their routes names its twin, or why it has none."""

from __future__ import annotations

import pytest
from fastapi.routing import APIRoute
from sqlalchemy import create_engine

from service.settings import Settings
from service.web.access import ByRole, find_rules
from service.web.app import make_app

TWINS = {
    "GET /": "leads to /today",
    "GET /static/colours.css": "a style sheet",
    "GET /static/chart-engine.js": "a script of a page",
    "GET /openapi.json": "it describes the API itself",
    "GET /docs": "GET /openapi.json is the same for programs",
    "GET /metrics": "for what watches the service, in its form",
    "HEAD /health": "GET /health without its body",
    "HEAD /health/rounds": "GET /health/rounds without its body",
    "GET /sign-in": "a form: a program sends a token",
    "POST /sign-in": "a form: a program sends a token",
    "POST /sign-out": "of a session of a browser: a program drops its token",
    "GET /forgotten": "a form of a person who has no password",
    "POST /forgotten": "a form of a person who has no password",
    "GET /welcome/{token}": "a person chooses a password by the link of a mail",
    "POST /welcome/{token}": "a person chooses a password by the link of a mail",
    "GET /today": {"GET /api/states", "GET /api/cautions"},
    "GET /blocks/{block_id}": {
        *("GET /api/blocks/{block_id}", "GET /api/states", "GET /api/windows"),
        *("GET /api/blocks/{block_id}/root-zone", "GET /api/notices"),
        *("GET /api/blocks/{block_id}/why", "GET /api/blocks/{block_id}/season-days"),
    },
    "GET /blocks/{block_id}/patches": {
        "GET /api/blocks/{block_id}/patches",
        "GET /api/blocks/{block_id}/dig-vines",
        "GET /api/blocks/{block_id}/vigour",
    },
    "POST /blocks/{block_id}/patches": {"POST /api/blocks/{block_id}/vigour"},
    "POST /blocks/{block_id}/patches/{number}/aside": {
        "POST /api/blocks/{block_id}/patches/{number}/aside"
    },
    "POST /blocks/{block_id}/patches/{number}/back": {
        "POST /api/blocks/{block_id}/patches/{number}/back"
    },
    "POST /blocks/{block_id}/vigour/{number}/drop": {
        "POST /api/blocks/{block_id}/vigour/{number}/drop"
    },
    "GET /ribbons": {"GET /api/blocks/{block_id}/season-days"},
    "GET /blocks/{block_id}/lot": {"GET /api/blocks/{block_id}/lot"},
    "GET /crew-days": {"GET /api/crew-days"},
    "GET /region": {"GET /api/region", "GET /api/region/open-shares"},
    "GET /notices": {"GET /api/notices", "GET /api/notices/messages"},
    "GET /notices/next": {"GET /api/notices/next"},
    "GET /notices/messages/{number}": {"GET /api/notices/messages/{number}"},
    "POST /notices/messages/{number}": {
        f"POST /api/notices/messages/{{number}}/{word}" for word in ("again", "drop")
    },
    "POST /notices/hold": {
        *("GET /api/notices/hold", "POST /api/notices/hold/release"),
        "POST /api/notices/hold/drop",
    },
    "GET /imports": {"GET /api/imports"},
    "POST /imports/uploads": {"POST /api/imports/uploads"},
    "GET /imports/uploads/{number}": {"GET /api/imports/uploads/{number}"},
    "POST /imports/uploads/{number}": {
        f"POST /api/imports/uploads/{{number}}/{word}" for word in ("state", "keep", "drop")
    },
    "GET /imports/{import_id}": {
        "GET /api/imports/{import_id}",
        "GET /api/imports/{import_id}/rejects",
    },
    "POST /imports/{import_id}": {
        "POST /api/imports/{import_id}/withdraw",
        "POST /api/imports/{import_id}/restore",
    },
    "GET /order": {"GET /api/order", "GET /api/cautions"},
    "GET /finds": {"GET /api/finds"},
    "GET /finds/new": "a form",
    "POST /finds/new": {"POST /api/finds", "POST /api/finds/{record_id}/photos"},
    "POST /finds/{record_id}/withdraw": {"POST /api/finds/{record_id}/withdraw"},
    "GET /finds/session": "of a session of a browser, for the queue of the page",
    "GET /finds/worker.js": "a script of the page",
    "GET /calendar/{secret}.ics": "for programs as it is: calendars know no headers",
    "GET /replanting": {"GET /api/spread", "GET /api/growth"},
    "GET /hand/{secret}": {"GET /api/readings"},
    "POST /hand/{secret}": {"POST /api/hand-readings"},
    "POST /hand/{secret}/take-back/{import_id}": {"POST /api/imports/{import_id}/withdraw"},
    "GET /told/{token}": "the link of a mail lets its reader in without an account",
    "POST /told/{token}": "for programs as it is: mail programs send it [RFC-8058]",
    "GET /advisories": {"GET /api/advisories"},
    "POST /advisories": {"POST /api/advisories"},
    "GET /advisories/{number}": {
        f"GET /api/advisories/{{number}}{more}" for more in ("", "/release", "/members")
    },
    "POST /advisories/{number}": {
        f"POST /api/advisories/{{number}}/{word}" for word in ("note", "release", "drop")
    },
    "GET /account": {"GET /api/account", "GET /api/tokens"},
    "POST /account": {"POST /api/account"},
    "POST /account/password": "a form: it ends all sessions, and gives its browser another",
    "POST /account/tokens": {"POST /api/tokens"},
    "POST /account/tokens/{token_id}/revoke": {"POST /api/tokens/{token_id}/revoke"},
    "POST /account/forget": {"POST /api/people/forget"},
    "POST /people/forget": {"POST /api/people/forget"},
    "GET /calendars": {"GET /api/calendars"},
    "POST /calendars": {"POST /api/calendars"},
    "POST /calendars/{number}": {
        "POST /api/calendars/{number}/renew",
        "POST /api/calendars/{number}/revoke",
    },
    "GET /sharing": {"GET /api/sharing"},
    "POST /sharing/{site_id}": {"POST /api/sharing/{site_id}"},
    "POST /sharing/{site_id}/finds": {"POST /api/sharing/{site_id}/finds"},
    "GET /people": {"GET /api/accounts", "GET /api/addresses"},
    "POST /people": {"POST /api/accounts"},
    **{
        f"POST /people/{{account_id}}/{deed}": {f"POST /api/accounts/{{account_id}}/{deed}"}
        for deed in ("link", "role", "places", "revoke", "restore")
    },
    "GET /checkup": {"GET /api/checkup"},
    "GET /deeds": {"GET /api/deeds"},
    "GET /dug/{token}": {"GET /api/dug"},
    "POST /dug/{token}": {"POST /api/dug"},
}
FILES = {
    *("/blocks/{block_id}/chart.svg", "/blocks/{block_id}/chart.json"),
    *("/blocks/{block_id}/dig-sheet.pdf", "/crew-days.ics", "/crew-days.pdf"),
    *("/blocks/{block_id}/lot.csv", "/blocks/{block_id}/lot.pdf"),
    *("/region/share.svg", "/bulletin"),
    *("/finds/photos/{number}", "/advisories/{number}/mail", "/notices/next/mail"),
    *("/notices/messages/{number}/mail", "/account/held.json", "/people/held.json"),
}
"""Which are the same under /api."""
TWINS |= {f"GET {path}": {f"GET /api{path}"} for path in FILES}


@pytest.fixture(scope="module")
def routes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, APIRoute]:
    """Routes by method and path."""
    settings = Settings(data=tmp_path_factory.mktemp("twins"))
    app = make_app(create_engine("sqlite://"), settings, with_rounds=False)
    every = [route for router in app.state.routers for route in router.routes]
    return {f"{method} {one.path}": one for one in every for method in one.methods}


def test_each_route_of_a_page_has_a_twin_or_a_reason(routes: dict[str, APIRoute]) -> None:
    pages = {name for name, route in routes.items() if not route.include_in_schema}
    assert pages == TWINS.keys()


def test_each_twin_is_described(routes: dict[str, APIRoute]) -> None:
    described = {name for name, route in routes.items() if route.include_in_schema}
    twins = set[str]().union(*(one for one in TWINS.values() if isinstance(one, set)))
    assert twins <= described


def test_a_twin_lets_in_whom_its_page_lets_in(routes: dict[str, APIRoute]) -> None:
    """Pages by a secret are of people without an account; their twins ask for one."""

    def roles(name: str) -> frozenset[str]:
        (rule,) = find_rules(routes[name])
        return frozenset(rule.roles if isinstance(rule, ByRole) else ())

    others = {
        (page, twin): roles(page) ^ roles(twin)
        for page, twins in TWINS.items()
        if isinstance(twins, set) and roles(page)
        for twin in twins
        if roles(page) - roles(twin)
    }
    assert others == {}
