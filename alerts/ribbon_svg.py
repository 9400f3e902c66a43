"""Season ribbons as a picture: a row for each block or year, a day a unit, in lines and textures.

The picture has no colours and no style of its own: what is open has the current colour, and the
classes "ink" and "edge" are for a style sheet, service/web/static/pictures.css. Without one all is
black, and still to be told apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from html import escape
from itertools import groupby

from babel.dates import get_month_names

from alerts.figures import locale_of, show_chance, show_day
from alerts.season_days import DayKind, SeasonDays
from alerts.words import translations

WIDTH = 366
_MARGIN = 4  # of the notch of today, where that is the first or the last day
_BAND, _LABEL, _GAP = 16, 21, 12
_TOP, _MIDDLE = _LABEL, _LABEL + _BAND // 2
_NOTCH_TOP = _TOP - 7
_KEY_COLUMN, _KEY_ROW, _SWATCH = 186, 26, 34
_LEAST_CHANCE = 0.05
_WORTH_TELLING = 0.1


@dataclass(frozen=True)
class RibbonRow:
    """A ribbon, with what stands above it at its left and at its right."""

    name: str
    season: SeasonDays
    state: str = ""


def draw_ribbons(rows: Sequence[RibbonRow], title: str, language: str, stem: str = "r") -> str:
    """Return ribbons below each other as an SVG element.

    title : what they are called; "" for no more than ribbons
    stem : what the ids within it begin with; of two pictures in one page each has its own
    """
    title = title or translations(language).gettext("Season ribbons")
    pitch = _LABEL + _BAND + _GAP
    parts = [
        f'<g transform="translate(0 {number * pitch})">{"".join(_draw_row(row, stem))}</g>'
        for number, row in enumerate(rows)
    ]
    bottom = len(rows) * pitch
    if rows:
        parts += _name_months(rows[-1].season, bottom + 2, language)
    described = " ".join(
        " ".join(
            [f"{row.name}:" if row.name else "", *describe_season(row.season, language)]
        ).strip()
        for row in rows
    )
    bare = len(rows) == 1 and not (rows[0].name or rows[0].state)
    return wrap_svg(parts, bottom + 8, title, described, stem, top=_NOTCH_TOP if bare else 0)


def draw_key(language: str, stem: str = "k") -> str:
    """Return what the textures of ribbons mean, as an SVG element."""
    _ = translations(language).gettext
    words: dict[DayKind | str, str] = {
        "open": _("open"),
        "unseen": _("may have been open"),
        "closed": _("closed"),
        "hot": _("too hot"),
        "resting": _("resting"),
        "no readings": _("no readings"),
        "ahead": _("chance it is open"),
        "today": _("today"),
    }
    parts: list[str] = []
    for number, (kind, word) in enumerate(words.items()):
        x, y = number % 2 * _KEY_COLUMN, number // 2 * _KEY_ROW - _TOP + 8
        parts.append(f'<g transform="translate({x} {y})">{"".join(_draw_swatch(kind, stem))}')
        parts.append(f'<text x="{_SWATCH + 6}" y="{_MIDDLE + 4}">{escape(word)}</text></g>')
    height = (len(words) + 1) // 2 * _KEY_ROW + 4
    return wrap_svg(parts, height, _("What the textures mean"), ", ".join(words.values()), stem)


def describe_season(season: SeasonDays, language: str) -> list[str]:
    """Return what a ribbon shows, as sentences for who does not see it."""
    _ = translations(language).gettext
    texts = {
        "open": _("Open from {first} to {last}."),
        "unseen": _("Perhaps open from {first} to {last}."),
        "hot": _("Too hot from {first} to {last}."),
        "resting": _("Resting from {first} to {last}."),
        "no readings": _("No readings from {first} to {last}."),
    }
    sentences: list[str] = []
    runs = [*season.runs()]
    is_open = bool(runs) and runs[-1][0] == "open" and season.as_of <= season.last
    for kind, begin, end in runs:
        if kind == "closed":
            continue
        text = texts[kind]
        if is_open and end == season.n_known:
            text = _("Open since {first}.")
        first, last = (season.first + timedelta(days=i) for i in (begin, end - 1))
        shown = (show_day(day, language, season.as_of) for day in (first, last))
        sentences.append(text.format(**dict(zip(("first", "last"), shown, strict=True))))
    highest = max(_weeks_ahead(season), key=lambda one: one[2], default=(0, 0, 0.0))
    if highest[2] >= _WORTH_TELLING and not is_open:
        day = season.first + timedelta(days=(highest[0] + highest[1]) // 2)
        text = _("Ahead, the chance of being open is highest about {day}: {chance}.")
        sentences.append(
            text.format(
                day=show_day(day, language, season.as_of),
                chance=show_chance(highest[2], language),
            )
        )
    return sentences


def _draw_row(row: RibbonRow, stem: str) -> Iterator[str]:
    season = row.season
    if row.name:
        yield f'<text y="12">{escape(row.name)}</text>'
    if row.state:
        yield f'<text x="{WIDTH}" y="12" text-anchor="end">{escape(row.state)}</text>'
    runs = [*season.runs()]
    yield _rule([(begin, end) for kind, begin, end in runs if kind != "no readings"])
    kinds = [kind for kind, _begin, _end in runs]
    for place, (kind, begin, end) in enumerate(runs):
        is_close = place > 0 and kinds[place - 1] == "open"
        yield _draw_days(kind, begin, end, stem, is_close)
    for chance, alike in groupby(_weeks_ahead(season), lambda one: round(one[2], 1)):
        weeks = list(alike)
        if chance >= _LEAST_CHANCE:
            yield _draw_ahead(weeks[0][0], weeks[-1][1], chance)
    yield "".join(_ticks(season))
    if season.first <= season.as_of < season.last:
        yield _notch(season.n_known)


def _draw_days(kind: DayKind, begin: int, end: int, stem: str, is_close: bool) -> str:
    box = f'x="{begin}" y="{_TOP}" width="{end - begin}" height="{_BAND}"'
    match kind:
        case "open":
            return f'<rect {box} fill="currentColor"/>'
        case "unseen":
            return f'<rect {box} fill="url(#{stem}-{"out" if is_close else "in"})"/>'
        case "hot":
            return f'<rect {box} fill="url(#{stem}-hot)"/>'
        case "resting":
            return f'<path class="ink" stroke="currentColor" d="M{begin} {_MIDDLE}h{end - begin}"/>'
        case "no readings":
            edge = 'class="edge" stroke="currentColor" fill="none" stroke-dasharray="3 2"'
            return f"<rect {box} {edge}/>"
        case "closed":
            return ""


def _draw_ahead(begin: int, end: int, chance: float) -> str:
    shade = f"{chance:.1f}".removeprefix("0")
    return (
        f'<rect x="{begin}" y="{_TOP + 4}" width="{end - begin}" height="{_BAND - 8}" '
        f'fill="currentColor" fill-opacity="{shade}"/>'
    )


def _draw_swatch(kind: str, stem: str) -> Iterator[str]:
    whole = [(0, _SWATCH)]
    match kind:
        case "ahead":
            yield _rule(whole)
            for place, chance in enumerate((0.2, 0.5, 0.8)):
                yield _draw_ahead(place * 11, place * 11 + 11, chance)
        case "today":
            yield _rule(whole) + _notch(_SWATCH // 2)
        case "no readings":
            yield _draw_days("no readings", 0, _SWATCH, stem, False)
        case "open" | "unseen" | "closed" | "hot" | "resting":
            yield _rule(whole) + _draw_days(kind, 0, _SWATCH, stem, False)


def _weeks_ahead(season: SeasonDays) -> Iterator[tuple[int, int, float]]:
    """Yield the weeks ahead, from which day to which, with the chance of being open."""
    if not season.open_chances:
        return
    for begin in range(season.n_known, season.kinds.size, 7):
        end = min(begin + 7, season.kinds.size)
        yield begin, end, season.chance_ahead((begin + end) // 2 - season.n_known + 1)


def _rule(spans: Sequence[tuple[int, int]]) -> str:
    """Return the hairlines above and below days that are known."""
    merged: list[list[int]] = []
    for begin, end in spans:
        if merged and merged[-1][1] == begin:
            merged[-1][1] = end
        else:
            merged.append([begin, end])
    lines = "".join(
        f"M{begin} {y}h{end - begin}" for begin, end in merged for y in (_TOP, _TOP + _BAND)
    )
    return f'<path class="edge" stroke="currentColor" d="{lines}"/>' if lines else ""


def _ticks(season: SeasonDays) -> Iterator[str]:
    starts = "".join(
        f"M{at} {_TOP + _BAND}v4" for at in _month_starts(season.first, season.kinds.size)
    )
    yield f'<path class="ink" stroke="currentColor" d="{starts}"/>'


def _notch(at: int) -> str:
    return f'<path class="notch" d="M{at - 4} {_TOP - 5}h8l-4 6z"/>'


@lru_cache(64)  # the seasons of all blocks are few, and their pictures many
def _month_starts(first: date, size: int) -> list[int]:
    days = (first + timedelta(days=i) for i in range(size))
    return [i for i, day in enumerate(days) if day.day == 1]


def _name_months(season: SeasonDays, y: int, language: str) -> Iterator[str]:
    """Yield the first letters of the months, as months are named on a ruler."""
    names = get_month_names("narrow", "stand-alone", locale_of(language))
    yield '<g text-anchor="middle" font-size="10">'
    for at in _month_starts(season.first, season.kinds.size):
        month = (season.first + timedelta(days=at)).month
        yield f'<text x="{at + 15}" y="{y}">{names[month]}</text>'
    yield "</g>"


def wrap_svg(
    parts: Sequence[str],
    height: int,
    title: str,
    described: str,
    stem: str,
    kind: str = "ribbon",
    top: int = 0,
) -> str:
    """Return a picture of some parts, named and described, with the textures they may use."""
    fades = "".join(
        f'<linearGradient id="{stem}-{name}"><stop stop-color="currentColor" '
        f'stop-opacity="{begin}"/><stop offset="1" stop-color="currentColor" '
        f'stop-opacity="{1 - begin}"/></linearGradient>'
        for name, begin in (("in", 0), ("out", 1))
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{kind}" role="img" '
        f'font-family="sans-serif" font-size="12" '
        f'viewBox="{-_MARGIN} {top} {WIDTH + 2 * _MARGIN} {height - top}" '
        f'aria-labelledby="{stem}-t {stem}-d"><title id="{stem}-t">{escape(title)}</title>'
        f'<desc id="{stem}-d">{escape(described)}</desc><defs>'
        f'<pattern id="{stem}-hot" width="5" height="5" patternUnits="userSpaceOnUse">'
        f'<circle cx="1.5" cy="2" r="1"/><circle cx="4" cy="4.5" r="1"/></pattern>'
        f"{fades}</defs>{''.join(parts)}</svg>"
    )
