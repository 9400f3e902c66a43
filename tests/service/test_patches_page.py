"""/blocks/ID/patches: a grower uploads vigour, sees where the block is weak, sets a patch aside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import pypdfium2
import pytest
import requests
from sqlalchemy import Engine, select, update

from service.settings import Settings
from service.store import tables
from service.store.accounts import set_places
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.planted import plant_block, plant_days
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as
from tests.vigour_blocks import table_of


@dataclass(frozen=True)
class Place:
    """A running application with a grower of one block, and who else may come."""

    engine: Engine
    page: str
    grower: requests.Session

    def upload(self, content: str, day: str = "2025-02-01") -> requests.Response:
        (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', self.grower.get(self.page).text)
        files = {"file": ("vigour.csv", content)}
        fields = {"csrf": csrf, "day": day, "measure": ""}
        return self.grower.post(self.page, fields, files=files, timeout=30)

    def look(self) -> str:
        return plain(self.grower.get(self.page, timeout=30).text)


def plain(page: str) -> str:
    """Return a page whose numbers are not bound to their words."""
    return page.replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("patches")
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 9)
        spacing = {"row_spacing_m": 3.0, "vine_spacing_m": 1.8, "row_azimuth_deg": 90.0}
        connection.execute(update(tables.block).values(spacing))
    for role in ("coordinator", "grower"):
        account = plant_account(engine, f"{role}@example.org", role)
    with writing(engine) as connection:
        set_places(connection, account.id, ["upper"], [])
    with serving_here(engine, Settings(data=folder)) as here:
        page = f"{here}/blocks/terrace-7/patches"
        yield Place(engine, page, sign_in_as(here, "grower@example.org"))
    engine.dispose()


@pytest.fixture(scope="module")
def first(place: Place) -> str:
    """The page that answers an upload, the first one of this block."""
    before = place.look()
    assert "its vigour was not measured yet." in before
    return plain(place.upload(table_of(slice(8, 20)) + "3,x,0.4\n").text)


def test_the_answer_to_a_table_says_what_was_read_and_what_was_found(first: str) -> None:
    assert "600 values read, 0 missing, 1 rejected." in first
    assert "Line 602: &#39;x&#39; is no number for vine" in first
    assert "1 weak patch found." in first
    assert "Patch 1: rows 7-10, vines 9-20" in first
    assert "weaker than their surroundings by 40" in first


@pytest.mark.usefixtures("first")
def test_the_page_of_the_block_leads_to_it_and_it_to_the_sheet(place: Place) -> None:
    of_block = place.grower.get(place.page.removesuffix("/patches"), timeout=30).text
    assert 'href="/blocks/terrace-7/patches"' in of_block
    sheet = place.page.replace("/patches", "/dig-sheet.pdf")
    document = pypdfium2.PdfDocument(place.grower.get(sheet, timeout=30).content)
    assert "Terrace 7" in document[0].get_textpage().get_text_range()
    document.close()


@pytest.mark.usefixtures("first")
def test_the_map_tells_by_texture_and_by_number_what_it_tells_by_colour(place: Place) -> None:
    (svg,) = re.findall(r"<svg.*?</svg>", place.look(), re.DOTALL)
    assert svg.count('fill="url(#b-weak)"') == 2  # the patch, and its swatch
    numbers = re.findall(r'class="on"[^>]*>(\d+)<', svg)
    assert numbers == [*map(str, range(1, 13)), "1"]  # the vines, and the swatch
    assert re.findall(r"<desc[^>]*>([^<]+)<", svg) == ["patch 1, rows 7-10, vines 9-20."]
    assert "Row 1<" in svg


@pytest.mark.usefixtures("first")
def test_a_patch_is_set_aside_with_reason_and_name_and_dug_after_all(place: Place) -> None:
    (of,) = set(re.findall(r'name="of" value="([^"]+)"', place.look()))
    said = {"of": of, "why": "a drip line was cut", "person": "Ada"}
    assert send(place.grower, f"{place.page}/1/aside", said).status_code == 303
    aside = place.look()
    assert "Set aside by Ada: a drip line was cut" in aside
    assert "Why here" not in aside
    assert 'fill="url(#b-aside)"' in aside
    assert send(place.grower, f"{place.page}/1/back", {"of": of}).status_code == 303
    assert "Why here" in place.look()
    with reading(place.engine) as connection:
        row = connection.execute(select(tables.patch_set_aside)).one()
    assert (row.person, row.taken_back_by) == ("Ada", "Grower")


@pytest.mark.usefixtures("first")
def test_numbers_of_an_older_page_are_refused(place: Place) -> None:
    said = {"of": "2024-01-01 ndvi 1", "why": "gravel", "person": "Ada"}
    assert send(place.grower, f"{place.page}/1/aside", said).status_code == 409
    assert send(place.grower, f"{place.page}/1/aside", said | {"why": ""}).status_code == 422


@pytest.mark.usefixtures("first")
def test_a_second_survey_tells_growth_in_the_language_of_the_reader(place: Place) -> None:
    grown = plain(place.upload(table_of(slice(8, 26)), "2026-02-01").text)
    # by hand: 4 rows of 12 vines before, of 18 now
    assert "it has grown by 50" in grown
    with writing(place.engine) as connection:
        connection.execute(update(tables.account).values(language="es"))
    spanish = place.look()
    with writing(place.engine) as connection:
        connection.execute(update(tables.account).values(language=None))
    assert "ha crecido un 50" in spanish
    assert "Mancha 1: hileras 7-10, vides 9-26" in spanish


@pytest.mark.usefixtures("first")
@pytest.mark.parametrize(
    ("content", "day", "why"),
    [
        ("a,b\n1,2\n", "2025-03-01", "it needs the columns row and vine"),
        ("row,vine,ndvi\n1,1,-2\n1,2,-2\n", "2025-03-01", "mostly zero or below"),
        ("row,vine,ndvi\n1,1,2\n", "2999-03-01", "is no day up to today"),
    ],
)
def test_a_file_that_cannot_be_used_says_why_and_changes_nothing(
    place: Place, content: str, day: str, why: str
) -> None:
    before = place.look()
    answer = place.upload(content, day)
    assert answer.status_code == 422
    assert why in answer.text
    assert place.look() == before


@pytest.mark.usefixtures("first")
def test_a_coordinator_looks_and_changes_nothing(place: Place) -> None:
    here = place.page.partition("/blocks")[0]
    coordinator = sign_in_as(here, "coordinator@example.org")
    shown = plain(coordinator.get(place.page, timeout=30).text)
    assert "1 weak patch found." in shown
    assert "<form" not in shown.partition("<main")[2]
    said = {"of": "", "why": "gravel", "person": "Ada"}
    assert send(coordinator, f"{place.page}/1/aside", said).status_code == 403


@pytest.mark.usefixtures("first")
def test_no_word_of_the_page_calls_anything_clean_or_safe(place: Place) -> None:
    text = place.look().lower()
    assert [word for word in ("clean", "safe", "low risk", "low-risk") if word in text] == []


@pytest.mark.usefixtures("first")
def test_vines_by_lot_are_drawn_on_a_page_and_again_by_its_seed(place: Place) -> None:
    lot = place.page.replace("/patches", "/lot")
    before = plain(place.grower.get(lot, timeout=30).text)
    # by hand: (1 - 0.05^(1/30)) (600 - (30 * 0.8 - 1) / 2) / 0.8 = 69.9, Cannon's approximation
    assert "Dig 70 vines drawn by lot." in before
    assert "Vines to dig" not in before
    drawn = place.grower.get(lot, params={"seed": 7}, timeout=30).text
    cells = re.findall(r"<tr><td>(\d+)</td><td>(\d+)</td><td>(\d+)</td></tr>", drawn)
    table = place.grower.get(f"{lot}.csv", params={"seed": 7, "count": 70}, timeout=30).text
    rows = [tuple(line.split(",")[2:5]) for line in table.splitlines()[1:]]
    assert cells == rows
    assert len(rows) == 70 + 7
    sheet = place.grower.get(f"{lot}.pdf", params={"seed": 7, "count": 70}, timeout=30)
    document = pypdfium2.PdfDocument(sheet.content)
    assert "seed 7" in document[0].get_textpage().get_text_range()
    document.close()


@pytest.mark.usefixtures("first")
def test_more_vines_than_are_known_are_refused(place: Place) -> None:
    lot = place.page.replace("/patches", "/lot.csv")
    answer = place.grower.get(lot, params={"seed": 7, "count": 601}, timeout=30)
    assert (answer.status_code, "Only 600 vines" in answer.text) == (409, True)


@pytest.mark.usefixtures("first")
def test_a_survey_is_taken_away_by_who_speaks_for_the_block(place: Place) -> None:
    before = place.look()
    place.upload(table_of(slice(0, 9)), day="2026-03-01")
    (wrong, *_) = re.findall(r"/vigour/(\d+)/drop", place.look())
    drop = place.page.replace("/patches", "/vigour/{}/drop")
    coordinator = sign_in_as(place.page.partition("/blocks")[0], "coordinator@example.org")
    assert send(coordinator, drop.format(wrong), {}).status_code == 403
    assert send(place.grower, drop.format(int(wrong) + 9), {}).status_code == 404
    assert send(place.grower, drop.format(wrong), {}).status_code == 303
    assert re.sub(r'value="\w{80,}"', "", place.look()) == re.sub(r'value="\w{80,}"', "", before)
