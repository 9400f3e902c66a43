"""Every route says who may use it, and shows no one what is another's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest
import requests
from fastapi import APIRouter
from fastapi.routing import APIRoute
from sqlalchemy import Engine, insert, update

from service.settings import Settings
from service.store import tables
from service.store.accounts import ROLES, set_places
from service.store.engine import open_engine, writing
from service.store.rounds import begin_round, finish_round
from service.store.schema import upgrade
from service.web.access import ByRole, check_rules, find_rules
from service.web.app import make_app
from tests.planted import plant_block, plant_days, plant_place, plant_recipient
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
SECRET_WORDS = ("Ledge", "ledge", "Zinnia", "45.1234")
"""Of what is Zinnia's: her block, her site, her name, where it lies."""


@dataclass(frozen=True)
class Place:
    """A running application with two growers, each with a site of their own."""

    engine: Engine
    here: str
    routes: list[APIRoute]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("roles")
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", probe_id=2)
        of_hers = tables.site.c.id == "at-ledge"
        connection.execute(update(tables.site).where(of_hers).values(latitude=45.1234))
        plant_recipient(connection, "Zinnia Example")
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5, probe_id=2)
        named = insert(tables.recipient_block)
        connection.execute(named.values(recipient_name="Zinnia Example", block_id="ledge"))
        began = datetime.now(UTC)
        finish_round(connection, begin_round(connection, None, began), began, 2, 0, 0)
        connection.execute(update(tables.recipient).values(all_blocks=False))
    plant_account(engine, "zinnia@example.org", "grower", recipient_name="Zinnia Example")
    for role in ROLES:
        account = plant_account(engine, f"{role}@example.org", role)
        if role == "grower":
            with writing(engine) as connection:
                set_places(connection, account.id, ["upper"], [])
    settings = Settings(data=folder)
    app = make_app(engine, settings, with_rounds=False)
    routes = [route for router in app.state.routers for route in router.routes]
    with serving_here(engine, settings) as here:
        yield Place(engine, here, routes)
    engine.dispose()


@pytest.fixture(scope="module")
def browsers(place: Place) -> dict[str, requests.Session]:
    return {role: sign_in_as(place.here, f"{role}@example.org") for role in (*ROLES, "zinnia")}


def address(place: Place, route: APIRoute) -> str:
    """The address of a route, about what is Zinnia's."""
    path = route.path.replace("{site_id}", "at-ledge").replace("{account_id}", "1")
    path = (
        path.replace("{token_id}", "1").replace("{import_id}", "1").replace("{block_id}", "ledge")
    )
    path = path.replace("{logger_id}", "of-ledge")
    path = path.replace("{number}", "1")
    return place.here + path.replace("{token}", "1.x").replace("{secret}", "x")


def ask(place: Place, browser: requests.Session, route: APIRoute) -> requests.Response:
    (method,) = route.methods or ("GET",)
    if method == "GET":
        return browser.get(address(place, route), params={"block": "ledge"}, timeout=30)
    return send(browser, address(place, route), {"say": "exact", "role": "administrator"})


def test_a_route_that_does_not_say_who_may_use_it_is_not_served() -> None:
    silent = APIRouter()
    silent.add_api_route("/silent", lambda: None)
    with pytest.raises(AssertionError, match="says 0 times who may use it"):
        check_rules([silent])


def test_who_is_not_signed_in_is_let_in_nowhere_that_asks_for_a_role(place: Place) -> None:
    guarded = [one for one in place.routes if isinstance(find_rules(one)[0], ByRole)]
    answers = {}
    for route in guarded:
        (method,) = route.methods or ("GET",)
        url = address(place, route)
        answers[route.path] = requests.request(method, url, timeout=30).status_code
    assert len(guarded) >= 15
    assert set(answers.values()) == {401}


@pytest.mark.parametrize("role", ROLES)
def test_a_page_of_another_role_is_refused(
    place: Place, browsers: dict[str, requests.Session], role: str
) -> None:
    refused = {}
    for route in place.routes:
        (rule,) = find_rules(route)
        if isinstance(rule, ByRole) and role not in rule.roles:
            refused[route.path] = ask(place, browsers[role], route).status_code
    assert set(refused.values()) <= {403}


@pytest.mark.parametrize("role", ["grower", "researcher"])
def test_nothing_of_another_grower_is_found_by_any_route(
    place: Place, browsers: dict[str, requests.Session], role: str
) -> None:
    found = []
    for route in place.routes:
        if route.path == "/sign-out":
            continue
        answers = [ask(place, browsers[role], route)]
        if "GET" in (route.methods or ()) and "{" not in route.path:  # without a block too
            answers.append(browsers[role].get(address(place, route), timeout=30))
        assert max(answer.status_code for answer in answers) < 500, route.path
        texts = [answer.text for answer in answers]
        found += [(route.path, one) for one in SECRET_WORDS if any(one in text for text in texts)]
    assert found == []


def test_a_grower_sees_what_is_hers_and_others_once_she_shares_it(
    place: Place, browsers: dict[str, requests.Session]
) -> None:
    def seen(who: str) -> set[str]:
        where = f"{place.here}/api/windows?format=json"
        answer = browsers[who].get(where, timeout=30)
        return {one["block"] for one in answer.json()}

    assert (seen("zinnia"), seen("grower"), seen("researcher")) == ({"ledge"}, {"terrace-7"}, set())
    assert seen("coordinator") == seen("administrator") == {"ledge", "terrace-7"}
    send(browsers["zinnia"], f"{place.here}/sharing/at-ledge", {"say": "about"})
    assert seen("researcher") == {"ledge"}
    assert "At Ledge" in browsers["researcher"].get(f"{place.here}/account", timeout=30).text
    send(browsers["zinnia"], f"{place.here}/sharing/at-ledge", {"say": "no"})
    assert seen("researcher") == set()
    stolen = send(browsers["grower"], f"{place.here}/sharing/at-ledge", {"say": "exact"})
    assert stolen.status_code == 404
