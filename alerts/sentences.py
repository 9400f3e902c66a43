"""One notice in words: when a window opened or closed, at which temperature, why, until when."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from functools import lru_cache
from itertools import groupby
from operator import itemgetter

from alerts.bounds import DateRange
from alerts.expectations import tell_likely_opening, tell_since
from alerts.figures import (
    show_chance,
    show_day,
    show_depths,
    show_error,
    show_interval,
    show_limit,
    show_mean,
    show_source,
    show_sources,
    show_temperature,
    show_when,
)
from alerts.news import name_season
from alerts.notices import Notice, Nowcast, Summary
from alerts.words import translations
from probes.units import Unit

_OLD_NEWS_DAYS = 7


@lru_cache(4096)  # many readers are told the same
def tell(notice: Notice, language: str, unit: Unit, as_of: date) -> str:
    """Return all there is to say of one notice, as one paragraph."""
    if notice.nowcast:
        return " ".join(_tell_nowcast(notice, notice.nowcast, language, as_of))
    if notice.summary:
        return " ".join(_sum_up(notice.summary, notice.mean_days, language, unit, as_of))
    was_told = notice.what == "closed" and not notice.told_opened_on
    dates = [
        *(() if was_told else _tell_opening(notice, language, as_of)),
        *_tell_closing(notice, language, as_of),
    ]
    if notice.what in ("opening soon", "closing soon"):
        dates = list(_tell_soon(notice, language, as_of))
    sentences = [
        *dates,
        *_tell_temperature(notice, language, unit, as_of),
        *_tell_estimates(notice, language),
        *_tell_sources(notice, language, unit),
        *_tell_why(notice, language),
        *_tell_end(notice, language, unit, as_of),
    ]
    return " ".join(sentence[:1].upper() + sentence[1:] for sentence in sentences)


def _tell_nowcast(notice: Notice, nowcast: Nowcast, language: str, as_of: date) -> Iterator[str]:
    """Say what has probably happened since the last readings, and that this is no reading."""
    _ = translations(language).gettext
    is_open = notice.what == "probably open"
    since, last_day = nowcast.since, nowcast.last_day
    yield tell_since(notice.kind, is_open, since, last_day, as_of, language)
    text = _("The chance that it is open now is {chance}; readings will replace this.")
    if not is_open:
        text = _("The chance that it is closed now is {chance}; readings will replace this.")
    yield text.format(chance=show_chance(nowcast.chance, language))


def _tell_soon(notice: Notice, language: str, as_of: date) -> Iterator[str]:
    """Say that a window is likely to open soon, or closes soon."""
    _ = translations(language).gettext
    season, likely = name_season(notice.kind, language), notice.opened_range
    if notice.what == "closing soon":
        yield _("{season} is nearing its end.").format(season=season)
    elif likely:
        yield tell_likely_opening(notice.kind, likely.earliest, likely.latest, as_of, language)
        yield _("Have buried lines located now: that can take days.")


def _sum_up(
    summary: Summary, mean_days: int, language: str, unit: Unit, as_of: date
) -> Iterator[str]:
    """Say when a season's windows were open, how warm it got, and that a dig proves little."""
    words = translations(language)
    _ = words.gettext
    for kind, of_kind in groupby(summary.spans, key=itemgetter(0)):
        stretches = list(of_kind)
        days = sum((closed_on - opened_on).days for _kind, opened_on, closed_on in stretches)
        text = words.ngettext(
            "{season} was open from {first} to {last}: {count} day.",
            "{season} was open from {first} to {last}: {count} days.",
            days,
        )
        if len(stretches) > 1:
            text = _("{season} was open from {first} to {last}, with pauses: {count} days in all.")
        told = text.format(
            season=name_season(kind, language),
            first=show_day(stretches[0][1], language, as_of),
            last=show_day(stretches[-1][2] - timedelta(days=1), language, as_of),
            count=days,
        )
        yield told[:1].upper() + told[1:]
    yield _("The root zone was warmest on {day}, at {temperature} ({mean}).").format(
        day=show_day(summary.highest_on, language, as_of),
        temperature=show_temperature(summary.highest_c, unit, language),
        mean=show_mean(mean_days, language),
    )
    yield _(
        "Plan to dig again next season: it can take two to five years before an infestation can be "
        "found."
    )


def _tell_opening(notice: Notice, language: str, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    told_on, opened_on = notice.told_opened_on, notice.opened_on
    season = name_season(notice.kind, language)
    told = show_day(told_on, language, as_of) if told_on else ""
    if opened_on is None:
        if notice.not_known:
            text = _(
                "Whether {season} has opened is not known: the readings behind the day you were "
                "told, {told}, were taken back or no longer count."
            )
        elif notice.what == "nowcast withdrawn":
            text = _(
                "{season} has not opened: the nowcast had said about {told}, and the readings that "
                "have come since do not show it."
            )
        else:
            text = _("{season} did not open after all; the day you were told was {told}.")
        yield text.format(season=season, told=told)
        return
    if told_on and notice.what != "corrected":
        text = _("{season} opened {when}; the nowcast had said about {told}.")
    elif told_on and told_on != opened_on:
        text = _("{season} opened {when}; the day you were told was {told}.")
    elif notice.what == "opened again":
        text = _("{season} opened again {when}.")
    else:
        text = _("{season} opened {when}.")
    when = show_when(opened_on, language, as_of, notice.not_before)
    days_ago = (as_of - opened_on).days
    if notice.not_before == opened_on and notice.what == "opened" and days_ago >= _OLD_NEWS_DAYS:
        when = _("{when}, {count} days ago").format(when=when, count=days_ago)
    yield text.format(season=season, when=when, told=told)
    if notice.not_before and notice.not_before < opened_on:
        yield _("Readings are missing in between: it may have opened unseen before {day}.").format(
            day=show_day(opened_on, language, as_of)
        )
    warms = notice.kind == "spring"
    first_day = notice.not_before or opened_on
    yield from _tell_wide(notice, notice.opened_range, opened_on, first_day, warms, language, as_of)


def _tell_closing(notice: Notice, language: str, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    told_on, closed_on = notice.told_closed_on, notice.closed_on
    if notice.opened_on is None:
        return
    if notice.not_known and told_on:
        text = _(
            "Whether it is still open is not known: the readings behind the closing day you were "
            "told, {told}, were taken back or no longer count."
        )
    elif notice.not_known:
        text = _("Whether it is still open is not known: readings after that are missing.")
    elif closed_on is None and told_on is None:
        return
    elif closed_on is None:
        text = _("{season} is still open; the closing day you were told was {told}.")
    elif told_on and told_on != closed_on:
        text = _("{season} closed {when}; the day you were told was {told}.")
    else:
        text = _("{season} closed {when}.")
    yield text.format(
        season=name_season(notice.kind, language),
        when=show_when(closed_on, language, as_of, notice.closed_not_before) if closed_on else "",
        told=show_day(told_on, language, as_of) if told_on else "",
    )
    if closed_on is None or notice.closed_not_before is None:
        return
    if notice.closed_not_before < closed_on:
        yield _("Readings are missing in between: it may have closed unseen before {day}.").format(
            day=show_day(closed_on, language, as_of)
        )
    if notice.reason in ("cold", "hot"):
        days, first_day = notice.closed_range, notice.closed_not_before
        warms = notice.reason == "hot"
        yield from _tell_wide(notice, days, closed_on, first_day, warms, language, as_of)


def _tell_wide(
    notice: Notice,
    days: DateRange | None,
    on: date,
    not_before: date,
    warms: bool,
    language: str,
    as_of: date,
) -> Iterator[str]:
    """Say so where the error of the temperature leaves more than a few days open, and why."""
    if days is None or not days.is_wide(on, not_before):
        return
    _ = translations(language).gettext
    if notice.is_measured and warms:
        text = _("The soil warms slowly compared with the error of its readings: {days}.")
    elif notice.is_measured:
        text = _("The soil cools slowly compared with the error of its readings: {days}.")
    else:
        text = _("Its temperature is known only with a wide error: {days}.")
    if days.latest is None:
        span = _("the day may be as early as {first}, or still to come")
    else:
        span = _("the day lies {when}")
    yield text.format(
        days=span.format(
            when=show_when(days.latest or on, language, as_of, days.earliest),
            first=show_day(days.earliest, language, as_of),
        )
    )


def _tell_why(notice: Notice, language: str) -> Iterator[str]:
    """Say why a window closed and what may follow, why fall opened, why dates changed."""
    _ = translations(language).gettext
    match notice.reason:
        case "spent":
            yield _(
                "Spring dig season has run its full length, counted from the day it first opened."
            )
            if notice.fall_follows:
                yield _("The next dig season comes when the soil cools in fall.")
        case "turned":
            yield _(
                "The soil has passed its summer peak and is cooling, which ends spring dig season."
            )
            if notice.fall_follows:
                yield _("The next one is fall dig season.")
        case "cold" if notice.kind == "spring":
            yield _("The soil has become too cold. Dig season can open again when the soil warms.")
        case "cold":
            yield _(
                "The soil has become too cold: as it cools further, only small overwintering young "
                "are left on the roots. Dig season can open again if the soil warms."
            )
        case "hot":
            yield _(
                "The soil has become too hot. Insects may be many now, but heat and dry soil make "
                "roots hard to read. Dig season can open again when the soil cools."
            )
        case "season over":
            yield _("Dig seasons are counted by the year, and a new year has begun.")
        case None if notice.kind == "fall" and notice.what == "opened":
            yield _("The soil has passed its summer peak and is cooling.")
    if notice.not_known:
        yield _(
            "To find out, measure the soil at {interval} with a thermometer, or dig and look; "
            "otherwise wait for readings."
        ).format(interval=show_interval(*notice.root_zone_cm, language))
    elif notice.what == "corrected":
        yield _("Readings that came late, were corrected or were taken back have changed this.")


def _tell_temperature(notice: Notice, language: str, unit: Unit, as_of: date) -> Iterator[str]:
    if notice.mean_c is None or notice.mean_on is None:
        return
    words = translations(language)
    temperature = show_temperature(notice.mean_c, unit, language, notice.limit_c)
    if notice.limit_c is not None:
        temperature = _beside_limit(notice, language).format(
            temperature=temperature, limit=show_limit(notice.limit_c, unit, language)
        )
    if notice.carried:
        wording = words.gettext(
            "The root zone ({interval}) was at {temperature}: the {mean} of {day}, estimated from "
            "{depths}, as no probe lies deep enough."
        )
    elif notice.borrowed and not notice.by_hand:
        wording = words.gettext(
            "The root zone ({interval}) was at {temperature}: the {mean} of {day}, borrowed from "
            "neighbours, as no probe of its own measures it."
        )
    elif notice.by_hand:
        wording = words.gettext(
            "The root zone ({interval}) was at {temperature}: the {mean} of {day}, from "
            "hand readings at {depths}."
        )
    else:
        wording = words.ngettext(
            "The root zone ({interval}) was at {temperature}: the {mean} of {day}, from "
            "the probe at {depths}.",
            "The root zone ({interval}) was at {temperature}: the {mean} of {day}, from "
            "probes at {depths}.",
            len(notice.basis_cm),
        )
    yield wording.format(
        interval=show_interval(*notice.root_zone_cm, language),
        temperature=temperature,
        mean=show_mean(notice.mean_days, language),
        day=show_day(notice.mean_on, language, as_of),
        depths=show_depths(notice.basis_cm, language),
    )


def _tell_estimates(notice: Notice, language: str) -> Iterator[str]:
    """Say that days behind the date were not measured in full."""
    if notice.estimated and not notice.borrowed:
        _ = translations(language).gettext
        yield _("The date is estimated: not every probe has readings of the days behind it.")


def _tell_sources(notice: Notice, language: str, unit: Unit) -> Iterator[str]:
    """Say what was not measured in the block, and what was read by hand or borrowed."""
    _ = translations(language).gettext
    if notice.stations:
        yield _("Measured at {stations}; the soil of the block may differ.").format(
            stations=show_sources(notice.stations, language)
        )
    if notice.by_hand and notice.by_hand.error_c is not None:
        yield _(
            "It rests on {readings}: days between two readings are estimated, and the {mean} "
            "may well be off by {error}."
        ).format(
            mean=show_mean(notice.mean_days, language),
            readings=show_source(notice.by_hand, language),
            error=show_error(notice.by_hand.error_c, unit, language),
        )
    if notice.borrowed and notice.borrowed.error_c is not None:
        yield _("It is {borrowed}; the {mean} may well be off by {error}.").format(
            mean=show_mean(notice.mean_days, language),
            borrowed=show_source(notice.borrowed, language),
            error=show_error(notice.borrowed.error_c, unit, language),
        )


def _beside_limit(notice: Notice, language: str) -> str:
    """Return the wording of a temperature with its limit; an open fall names it at its end."""
    _ = translations(language).gettext
    match notice.reason, notice.kind:
        case "hot", _kind:
            return _("{temperature} (too hot above {limit})")
        case "cold", _kind:
            return _("{temperature} (too cold below {limit})")
        case _reason, "spring":
            return _("{temperature} (spring dig season opens at {limit})")
        case _:
            return "{temperature}"


def _tell_end(notice: Notice, language: str, unit: Unit, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    if notice.opened_on is None or notice.closed_on is not None:
        return
    if notice.kind == "fall" and notice.limit_c is not None:
        yield _("Dig season lasts until the root zone cools below {limit} or gets too hot.").format(
            limit=show_limit(notice.limit_c, unit, language)
        )
    elif notice.ends_by:
        yield _(
            "Dig season will be over by {day} at the latest, earlier if the soil becomes too hot "
            "or too cold."
        ).format(day=show_day(notice.ends_by, language, as_of))
