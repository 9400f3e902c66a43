"""People take what is held of them and are forgotten; an administrator does so for any of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests
from sqlalchemy import Engine

from service.settings import Settings
from service.store.engine import writing
from tests.planted import plant_block, plant_recipient
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as
from tests.stores import rows_of

ADA, BEN, CORA = "ada@example.org", "ben@example.org", "cora@example.org"

pytestmark = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def here(engine: Engine, tmp_path: Path) -> Iterator[str]:
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", ("mail",))
        plant_recipient(connection, "Petra Example", ("mail",))
    plant_account(engine, ADA, "grower", "Ada Example")
    plant_account(engine, BEN, "researcher")
    plant_account(engine, CORA, "administrator")
    with serving_here(engine, Settings(data=tmp_path)) as address:
        yield address


def ask_api(browser: requests.Session, here: str, of: str) -> requests.Response:
    """Ask the API, as a page of the session would, to forget a person."""
    page = browser.get(f"{here}/account", timeout=30).text
    (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', page)
    body, headers = {"of": of, "sure": of}, {"X-CSRF-Token": csrf}
    return browser.post(f"{here}/api/people/forget", json=body, headers=headers, timeout=30)


def test_one_takes_what_is_held_of_them_and_is_then_forgotten(here: str, engine: Engine) -> None:
    ada = sign_in_as(here, ADA)
    answer = ada.get(f"{here}/account/held.json", timeout=30)
    assert answer.headers["Content-Disposition"] == 'attachment; filename="held.json"'
    held = answer.json()
    assert [one["name"] for one in held["recipient"]] == ["Ada Example"]
    assert "Petra" not in answer.text
    assert answer.text == ada.get(f"{here}/api/account/held.json", timeout=30).text
    assert ada.get(f"{here}/people/held.json?of={BEN}", timeout=30).status_code == 403
    wrong = send(ada, f"{here}/account/forget", {"sure": "ada"})
    assert (wrong.status_code, "write the address or name" in wrong.text) == (422, True)
    other = ask_api(ada, here, BEN)
    assert (other.status_code, other.json()["detail"]) == (403, "this is not for a grower")
    done = send(ada, f"{here}/account/forget", {"sure": ADA})
    assert (done.status_code, done.headers["Location"]) == (303, "/sign-in")
    assert ada.get(f"{here}/today", timeout=30).url == f"{here}/sign-in?next=/today"
    everything = repr(rows_of(engine))
    assert [text for text in (ADA, "Ada") if text in everything] == []
    assert "Petra Example" in everything


def test_an_administrator_forgets_any_but_the_last_of_them(here: str, engine: Engine) -> None:
    cora = sign_in_as(here, CORA)
    page = cora.get(f"{here}/people", timeout=30).text
    assert [f"<option>{one}</option>" in page for one in (BEN, "Petra Example")] == [True, True]
    held = cora.get(f"{here}/people/held.json", params={"of": "Petra Example"}, timeout=30).json()
    assert held["recipient"][0]["email"] == "petra@example.org"
    for of in (BEN, "Petra Example"):
        done = send(cora, f"{here}/people/forget", {"of": of, "sure": of})
        assert (done.status_code, done.headers["Location"]) == (303, "/people")
    assert ask_api(cora, here, BEN).status_code == 404
    last = send(cora, f"{here}/account/forget", {"sure": CORA})
    assert (last.status_code, "No administrator would be left" in last.text) == (409, True)
    rows = rows_of(engine)
    assert [text for text in ("ben@", "Petra") if text in repr(rows)] == []
    assert sum("forgot a person" in row for row in rows["audit"]) == 2
