"""The bulletin for the notice board: what is open where, on one sheet that is printed.

Some blocks are shown each with its ribbon; of a whole region districts are told in counts, so that
it stays one sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from alerts.advisories.figures import Advisory
from alerts.advisories.letter import name_district, order_districts, tell_figures, tell_outcomes
from alerts.card import cautions, scouting_card
from alerts.digest import say_of_vines
from alerts.expectations import Expectation, tell_expected
from alerts.figures import show_day, show_interval, show_mean, show_temperature, show_when
from alerts.lines import bind_numbers
from alerts.news import name_season, sort_key, tidy
from alerts.ribbon_svg import RibbonRow, draw_key, draw_ribbons
from alerts.season_days import SeasonDays
from alerts.state_words import show_state
from alerts.states import State
from alerts.windows import Span
from alerts.words import translations
from probes.units import Unit

MOST_BLOCKS = 10
"""Of which each has its ribbon."""


@dataclass(frozen=True)
class BulletinBlock:
    """How a block stands.

    opened : its window that is open
    root_zone_cm : top and bottom
    mean_c, mean_days : of its root zone, the latest trailing mean; None: there is none [degC]
    expected : what is to come; None: nothing is known
    closed : its window that closed last this season, where none is open
    """

    name: str
    district_id: str
    state: State
    opened: Span | None
    root_zone_cm: tuple[float, float]
    mean_c: float | None
    mean_days: int
    season: SeasonDays
    expected: Expectation | None
    closed: Span | None = None


@dataclass(frozen=True)
class BulletinEntry:
    """One block in words, with its ribbon as an SVG element."""

    name: str
    text: str
    ribbon: str


@dataclass(frozen=True)
class BulletinPart:
    """One district: its blocks, or what is told of all of them."""

    name: str
    entries: tuple[BulletinEntry, ...]
    paragraphs: tuple[str, ...]


@dataclass(frozen=True)
class Bulletin:
    """All that the sheet says, and the key of its ribbons as an SVG element; "" where none are."""

    language: str
    organisation: str
    title: str
    answer: str
    parts: tuple[BulletinPart, ...]
    key: str
    vines: str
    card_title: str
    card: tuple[str, ...]
    cautions_title: str
    cautions: tuple[str, ...]
    source: str


def compose_bulletin(
    blocks: Sequence[BulletinBlock],
    advisory: Advisory,
    organisation: str,
    language: str,
    unit: Unit,
) -> Bulletin:
    """Return the bulletin of some blocks; `advisory` has the figures of the same ones."""
    _ = translations(language).gettext
    as_of, name = advisory.as_of, tidy(organisation)
    day = show_day(as_of, language, as_of)
    outcomes = tell_outcomes(advisory.region, language)
    with_ribbons = len(blocks) <= MOST_BLOCKS
    parts = _show_blocks(blocks, advisory, name, language, unit)
    if not with_ribbons:
        figures = tell_figures(advisory, language, unit, name)
        parts = [BulletinPart(one.title or "", (), tuple(one.paragraphs)) for one in figures]
    return Bulletin(
        language=language,
        organisation=name,
        title=_("Dig season on {day}: {outcomes}").format(day=day, outcomes=outcomes),
        answer=f"{outcomes[:1].upper()}{outcomes[1:]}",
        parts=tuple(parts),
        key=draw_key(language) if with_ribbons else "",
        vines=say_of_vines(language),
        card_title=_("What to do now") if advisory.region.open else _("When dig season is open"),
        card=tuple(scouting_card(language)),
        cautions_title=_("Before you dig"),
        cautions=tuple(cautions(language)),
        source=_("By {organisation}, from soil readings up to the end of {day}.").format(
            organisation=name, day=day
        ),
    )


def write_bulletin(bulletin: Bulletin, style: str) -> str:
    """Return a bulletin as HTML; `style` is the style sheet of its pictures."""
    return _template().render(bulletin=bulletin, style=Markup(style))  # noqa: S704 (our own)


def tell_block(one: BulletinBlock, language: str, unit: Unit, as_of: date) -> str:
    """Return how a block stands and what is to come, as a paragraph."""
    _ = translations(language).gettext
    if one.opened:
        text = _("Open: {season} opened {when}.").format(
            season=name_season(one.opened.kind, language),
            when=show_when(one.opened.opened_on, language, as_of, one.opened.not_before),
        )
    else:
        state = show_state(one.state, language)
        text = f"{state[:1].upper()}{state[1:]}."
        if one.closed and one.closed.closed_on:
            days = one.closed.closed_on, language, as_of, one.closed.closed_not_before
            season = name_season(one.closed.kind, language)
            told = _("{season} closed {when}.").format(season=season, when=show_when(*days))
            text += f" {told[:1].upper()}{told[1:]}"
    told = [text]
    if one.mean_c is not None:
        zone = _("Root zone, {interval}: {temperature}, {mean}.").format(
            interval=show_interval(*one.root_zone_cm, language),
            temperature=show_temperature(one.mean_c, unit, language),
            mean=show_mean(one.mean_days, language),
        )
        told.append(zone)
    ahead = tell_expected(one.expected, language, unit) if one.expected else []
    return " ".join([*told, *ahead])


def _show_blocks(
    blocks: Sequence[BulletinBlock],
    advisory: Advisory,
    organisation: str,
    language: str,
    unit: Unit,
) -> list[BulletinPart]:
    ordered = sorted(blocks, key=lambda one: (not one.opened, sort_key(one.name)))
    numbers = {id(one): number for number, one in enumerate(ordered)}
    return [
        BulletinPart(
            name_district(district, advisory, organisation, language),
            tuple(
                _show_block(one, f"b{numbers[id(one)]}", language, unit, advisory.as_of)
                for one in ordered
                if one.district_id == district.id
            ),
            (),
        )
        for district in order_districts(advisory, ())
    ]


def _show_block(
    one: BulletinBlock, stem: str, language: str, unit: Unit, as_of: date
) -> BulletinEntry:
    name = tidy(one.name)
    ribbon = draw_ribbons([RibbonRow("", one.season)], name, language, stem)
    return BulletinEntry(name, tell_block(one, language, unit, as_of), ribbon)


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("alerts"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"bind": bind_numbers, "svg": Markup}
    return environment.get_template("bulletin.html")
