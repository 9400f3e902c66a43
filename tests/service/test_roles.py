"""Every route says who may use it, and shows no one what is another's."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import pytest
import requests
from fastapi import APIRouter
from fastapi.routing import APIRoute
from PIL import Image
from sqlalchemy import Engine, insert, update

from alerts.consent import compose_request, compose_request_sms
from alerts.mail import compose_mail
from alerts.words import LANGUAGES
from service.accounts import send_link
from service.advisories.drafting import find_figures_now
from service.consents import ask as ask_for_consent
from service.digests import compose_waiting
from service.due import When
from service.finds.keeping import keep_find
from service.settings import Settings
from service.store import tables
from service.store.accounts import ROLES, set_places
from service.store.advisories import KeptNote, add_draft, add_members, add_note, mark_released
from service.store.dig_photos import add_photo
from service.store.engine import open_engine, reading, writing
from service.store.notices import store_notices
from service.store.outbox import fetch_messages
from service.store.recipients import fetch_recipients
from service.store.rounds import begin_round, finish_round
from service.store.schema import upgrade
from service.store.tokens import add_account_token
from service.store.uploads import add_upload
from service.store.vigour import KeptVigour, keep_vigour
from service.web.access import ByRole, check_rules, find_rules
from service.web.app import make_app
from service.web.letters import read_message
from tests.dig_records import dig_record
from tests.mails import text_of
from tests.notices import OPENED
from tests.planted import plant_block, plant_days, plant_place, plant_recipient
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as
from tests.stores import rows_of
from tests.vigour_blocks import plant_vigour

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
JPEG = b"\xff\xd8"
SECRET_WORDS = ("Ledge", "ledge", "Zinnia", "45.1234")
"""Of what is Zinnia's: her block, her site, her name, where it lies."""


FIND = dig_record(block_id="ledge", person="Zinnia Example")
HERS = ("dig_record", "dig_photo", "vigour_survey", "upload", "outbox", "advisory_member")


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
        for site_id, district_id in (("upper", "flats"), ("at-ledge", "tops")):
            named = {"id": district_id, "name": f"The {district_id.title()}"}
            connection.execute(insert(tables.district), named)
            in_it = update(tables.site).where(tables.site.c.id == site_id)
            connection.execute(in_it.values(district_id=district_id))
        of_hers = tables.site.c.id == "at-ledge"
        connection.execute(update(tables.site).where(of_hers).values(latitude=45.1234))
        plant_recipient(connection, "Zinnia Example")
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5, probe_id=2)
        named = insert(tables.recipient_block)
        connection.execute(named.values(recipient_name="Zinnia Example", block_id="ledge"))
        began = datetime.now(UTC)
        number = begin_round(connection, None, began)
        finish_round(connection, number, began, 2, 0, 0)
        connection.execute(update(tables.recipient).values(all_blocks=False))
    zinnia = plant_account(engine, "zinnia@example.org", "grower", "Zinnia Example")
    settings = Settings(data=folder, base_url="http://dig.example")
    write_to_zinnia(engine, settings, number)
    bring_what_is_hers(engine, settings, zinnia.id)
    for role in ROLES:
        account = plant_account(engine, f"{role}@example.org", role)
        if role == "grower":
            with writing(engine) as connection:
                set_places(connection, account.id, ["upper"], [])
    flats = plant_account(engine, "flats@example.org", "coordinator")
    with writing(engine) as connection:
        set_places(connection, flats.id, [], ["flats"])
    app = make_app(engine, settings, with_rounds=False)
    routes = [route for router in app.state.routers for route in router.routes]
    with serving_here(engine, settings) as here:
        yield Place(engine, here, routes)
    engine.dispose()


def write_to_zinnia(engine: Engine, settings: Settings, number: int) -> None:
    """Let her get a link to choose a password, be asked whether she wants messages, and be told in
    a digest that her block has opened.
    """
    now = datetime.now(UTC)
    day = now.date() - timedelta(days=3)
    days = {"opened_on": day, "not_before": day, "mean_on": day, "season": day.year}
    named = {"block_id": "ledge", "block_name": "Ledge", "site_name": "At Ledge"}
    opened = replace(OPENED, **days, **named, ends_by=day + timedelta(days=42))
    send_link(engine, settings, "zinnia@example.org", now)
    with writing(engine) as connection:
        zinnia = fetch_recipients(connection)["Zinnia Example"]
        to = "mail", "zinnia@example.org"
        ask_for_consent(connection, zinnia, *to, "Alder Bench", settings, now)
        store_notices(connection, number, [opened])
        assert compose_waiting(connection, settings, When(now, None, at_their_hour=False)) == 1


def bring_what_is_hers(engine: Engine, settings: Settings, account_id: int) -> None:
    """Put in a find with a photo, a survey of vigour, a file put aside, and two advisories that she
    was told: number 1 of the region, 2 of her district.
    """
    now = datetime.now(UTC)
    of_hers = {"id": "ledge", "row_spacing_m": 3.0, "vine_spacing_m": 1.8}
    picture = BytesIO()
    Image.new("RGB", (9, 9)).save(picture, "JPEG")
    with writing(engine) as connection:
        ledge = update(tables.block).where(tables.block.c.id == of_hers["id"])
        connection.execute(ledge.values(of_hers))
        keep_find(connection, FIND, "zinnia@example.org", now)
        add_photo(connection, FIND.record_id, "0" * 64, picture.getvalue(), "zinnia", now)
        survey = KeptVigour(date(2025, 4, 1), "ndvi", "Zinnia.csv", plant_vigour(1)[0])
        keep_vigour(connection, "ledge", survey, now)
        add_upload(connection, account_id, "at-ledge", None, "Zinnia.csv", b"Zinnia", now)
        for district_ids in (None, frozenset({"tops"})):
            figures = find_figures_now(connection, settings, now, None, district_ids)
            number = add_draft(connection, figures, now, "Cora", district_ids)
            add_note(connection, number, KeptNote(None, "for Cora", "Cora", now))
            mark_released(connection, number, "Cora", now)
            add_members(connection, number, ["Zinnia Example"])


@pytest.fixture(scope="module")
def browsers(place: Place) -> dict[str, requests.Session]:
    return {
        role: sign_in_as(place.here, f"{role}@example.org") for role in (*ROLES, "zinnia", "flats")
    }


def address(place: Place, route: APIRoute, number: int = 1) -> str:
    """The address of a route, about what is Zinnia's."""
    path = route.path.replace("{site_id}", "at-ledge").replace("{account_id}", "1")
    path = (
        path.replace("{token_id}", "1").replace("{import_id}", "1").replace("{block_id}", "ledge")
    )
    path = path.replace("{logger_id}", "of-ledge").replace("{record_id}", FIND.record_id)
    path = path.replace("{number}", f"{number}")
    return place.here + path.replace("{token}", "1.x").replace("{secret}", "x")


def ask(
    place: Place, browser: requests.Session, route: APIRoute, number: int = 1
) -> requests.Response:
    (method,) = route.methods or ("GET",)
    if method == "GET":
        asked = {"block": "ledge"}
        return browser.get(address(place, route, number), params=asked, timeout=60)
    return send(browser, address(place, route, number), {"say": "exact", "role": "administrator"})


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


@pytest.mark.parametrize("role", ["grower", "researcher", "flats"])
def test_nothing_of_another_grower_is_found_by_any_route(
    place: Place, browsers: dict[str, requests.Session], role: str
) -> None:
    found, before = [], rows_of(place.engine)
    for route in place.routes:
        if route.path == "/sign-out":
            continue
        assert "{" not in address(place, route), "fill in what it is asked about"
        numbers = (1, 2) if "advisories" in route.path else (1,)
        answers = [ask(place, browsers[role], route, number) for number in numbers]
        if "GET" in (route.methods or ()) and "{" not in route.path:  # without a block too
            answers.append(browsers[role].get(address(place, route), timeout=30))
        assert max(answer.status_code for answer in answers) < 500, route.path
        texts = [answer.text for answer in answers]
        found += [(route.path, one) for one in SECRET_WORDS if any(one in text for text in texts)]
        found += [(route.path, "photo") for one in answers if one.content[:2] == JPEG]
    assert found == []
    after = rows_of(place.engine)
    assert [name for name in HERS if before[name] != after[name] or not before[name]] == []


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


def test_no_answer_shows_the_secret_of_a_link_that_was_sent(
    place: Place, browsers: dict[str, requests.Session]
) -> None:
    with reading(place.engine) as connection:
        sent = [(row.id, text_of(row.message.encode())) for row in fetch_messages(connection)]
        who = connection.execute(
            tables.account.select().where(tables.account.c.email == "zinnia@example.org")
        ).one()
    links = re.findall(r"http://dig\.example/(\w+)/([\w.-]+)", " ".join(text for _, text in sent))
    assert {kind for kind, _ in links} == {"welcome", "told", "dug"}
    now = datetime.now(UTC)
    with writing(place.engine) as connection:
        until = now + timedelta(days=1)
        token = add_account_token(connection, who.id, "read", now, "a phone", until)
    program = requests.Session()
    program.headers["Authorization"] = f"Bearer {token}"
    gets = [route for route in place.routes if route.methods == {"GET"}]
    of_mail = [one for one in gets if re.search("notices|held|account|people", one.path)]
    shown, pages = [], 0
    for browser, routes in ((program, gets), (browsers["administrator"], of_mail)):
        for route in routes:
            for number, _ in sent if "/messages/" in route.path else sent[:1]:
                answer = browser.get(address(place, route, number), timeout=60)
                pages += answer.status_code == 200
                shown += [(route.path, kind) for kind, one in links if one in answer.text]
    assert shown == []
    assert pages > 80
    message = program.get(f"{place.here}/api/notices/messages/1", timeout=30).json()["text"]
    assert "http://dig.example/welcome/..." in message
    held = program.get(f"{place.here}/api/account/held.json", timeout=30).json()
    assert "/welcome/..." in json.dumps(held["outbox"])


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("can_answer", [True, False])
def test_no_message_is_shown_with_its_code(language: str, can_answer: bool) -> None:
    letter = compose_request("Alder Bench 200300", language, "481516", None)
    mail = compose_mail(letter, "d@example.org", "a@example.org", NOW, "<1@x>").decode()
    text = compose_request_sms("Alder Bench 200300", language, "481516", None, can_answer)
    assert "481516" in text
    shown = read_message("mail", mail), read_message("sms", text)
    assert "481516" not in repr(shown)
    assert "200300" in shown[1].text  # a number of another kind
