"""What a plan of crew days says: in a calendar, and on its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import NAMESPACE_DNS, uuid5

from alerts.card import cautions
from alerts.dig.crew_days import CrewDay
from alerts.events import Event
from alerts.figures import show_day
from alerts.words import translations

_OURS = uuid5(NAMESPACE_DNS, "digs.digseason.invalid")


@dataclass(frozen=True)
class PlanWords:
    """The words of the sheet of a plan; `columns` are of its table."""

    title: str
    columns: tuple[str, ...]
    left: str
    nothing: str


def plan_words(language: str) -> PlanWords:
    """Return the words of the sheet."""
    _ = translations(language).gettext
    return PlanWords(
        title=_("Crew days"),
        columns=(_("Day"), _("Crew"), _("Block"), _("Vines"), _("Window"), _("Done, notes")),
        left=_("Not placed"),
        nothing=_("No block has a window in these days that is open or expected."),
    )


def tell_window(one: CrewDay, language: str, as_of: date) -> str:
    """Return "open until 15 November", or "expected from 4 October until 15 November"."""
    _ = translations(language).gettext
    first, last = (show_day(day, language, as_of) for day in (one.job.first, one.job.last))
    if one.job.expected:
        return _("expected from {first} until {last}").format(first=first, last=last)
    return _("open until {last}").format(last=last)


def tell_left(name: str, vines: int, language: str) -> str:
    """Return what of a block finds no place, and what to do."""
    text = translations(language).ngettext(
        "{block}: {count} vine cannot be dug before the window closes; more crews, longer days, "
        "or the next window.",
        "{block}: {count} vines cannot be dug before the window closes; more crews, longer days, "
        "or the next window.",
        vines,
    )
    return text.format(block=name, count=vines)


def tell_plan(planned: Sequence[CrewDay], language: str, as_of: date) -> str:
    """Return "240 vines in 12 crew days, the last on 2 December."; there is one at least."""
    text = translations(language).gettext("{vines} vines in {count} crew days, the last on {day}.")
    vines, last = sum(one.vines for one in planned), show_day(planned[-1].day, language, as_of)
    return text.format(vines=vines, count=len(planned), day=last)


def find_dig_events(
    planned: Sequence[CrewDay],
    places: Mapping[str, tuple[str, str]],
    language: str,
    as_of: date,
    now: datetime,
) -> list[Event]:
    """Return a calendar event for each crew day; planned anew, those of a block move.

    Parameters
    ----------
    places : block id -> its name, its site's name
    """
    words = translations(language)
    events: list[Event] = []
    counted: dict[str, int] = {}
    for one in planned:
        name, site_name = places[one.job.block_id]
        place = counted[one.job.block_id] = counted.get(one.job.block_id, 0) + 1
        summary = words.ngettext(
            "Dig {count} vine in {block}, crew {crew}",
            "Dig {count} vines in {block}, crew {crew}",
            one.vines,
        ).format(count=one.vines, block=name, crew=one.crew)
        window = tell_window(one, language, as_of)
        events.append(
            Event(
                uid=f"{uuid5(_OURS, f'{one.job.block_id} {place}')}",
                revision=int(now.timestamp()) // 60,
                status="TENTATIVE" if one.job.expected else "CONFIRMED",
                first=one.day,
                stop=one.day + timedelta(days=1),
                summary=summary,
                site_name=site_name,
                description="\n".join([f"{name}: {window}", *cautions(language)]),
            )
        )
    return events
