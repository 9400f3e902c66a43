"""How a date was reached, in numbered sentences: from the readings of probes to the rule."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from math import floor

from alerts.bounds import DateRange
from alerts.figures import (
    show_day,
    show_difference,
    show_limit,
    show_list,
    show_mean,
    show_temperature,
    show_when,
)
from alerts.news import name_season
from alerts.rules import GRAPE_PHYLLOXERA, NO_SOURCE, ORIGINS, WindowRule
from alerts.why.basis_words import tell_basis
from alerts.why.facts import Decisive, Why, find_decisive
from alerts.words import translations
from probes.units import Unit, delta_c_to_f


def tell_why(why: Why, language: str, unit: Unit) -> list[str]:
    """Return how a date was reached, or why nothing is open, as sentences to be numbered.

    Days have a year where they are more than half a year from the one that is explained.
    """
    told = _Teller(why, language, unit)
    return [sentence[:1].upper() + sentence[1:] for sentence in told.tell()]


def title_why(why: Why, language: str, as_of: date) -> str:
    """Return what is explained, as a title."""
    _ = translations(language).gettext
    match why.event:
        case "opened":
            text = _("How it was found that {season} opened {when}")
        case "closed":
            text = _("How it was found that {season} closed {when}")
        case "not open" if why.state in ("no basis", "no recent readings"):
            text = _("Why it is not known whether dig season is open {when}")
        case "not open":
            text = _("Why dig season is not open {when}")
    return text.format(
        season=name_season(why.kind, language),
        when=show_when(why.day, language, as_of, why.not_before),
    )


class _Teller:
    """One explanation in one language."""

    def __init__(self, why: Why, language: str, unit: Unit) -> None:
        self.why, self.language = why, language
        self.unit: Unit = unit
        self.decisive: Decisive = find_decisive(why)
        self._ = translations(language).gettext
        self.ngettext = translations(language).ngettext

    def tell(self) -> Iterator[str]:
        if self.why.reason in ("spent", "season over"):
            yield from self.by_calendar()
            return
        yield from tell_basis(self.why, self.language, self.unit)
        if any(mean_c is not None for _, mean_c in self.why.means):
            yield self.means()
        yield from self.rule()
        if self.why.event != "not open":
            yield from self.missing()
            yield from self.errors()
        yield from self.lacking()

    def by_calendar(self) -> Iterator[str]:
        _, why = self._, self.why
        first = why.first_spring
        if why.reason == "season over" or first is None:
            yield _(
                "{season} was still open when the season ended: the next one began on {day}."
            ).format(season=name_season(why.kind, self.language), day=self.day(why.day))
            return
        yield _("{season} first opened {when}.").format(
            season=name_season("spring", self.language),
            when=show_when(first.opened_on, self.language, self.why.day, first.not_before),
        )
        yield self.ngettext(
            "It lasts {count} day from then on, whatever the soil does ({origin}): to {day}.",
            "It lasts {count} days from then on, whatever the soil does ({origin}): to {day}.",
            why.rule.spring_days,
        ).format(
            count=why.rule.spring_days,
            origin=self.origin("spring_days"),
            day=self.day(why.day - timedelta(days=1)),
        )

    def means(self) -> str:
        """Say how the mean went day by day, and where it is missing."""
        _, means = self._, self.why.means
        shown = [
            _("unknown") if mean_c is None else self.temperature(mean_c, self.decisive.limit_c)
            for _day, mean_c in means
        ]
        return _("From {first} to {last} the {mean} was, day by day, {figures}.").format(
            first=self.day(means[0][0]),
            last=self.day(means[-1][0]),
            mean=self.mean(),
            figures=show_list(shown, self.language),
        )

    def rule(self) -> Iterator[str]:
        _, why, limit_c = self._, self.why, self.decisive.limit_c
        season = name_season(why.kind, self.language)
        if why.state == "no recent readings":
            yield self.last_mean()
            return
        if why.state == "spring start not seen":
            yield _(
                "No day below {limit} was seen this season, so when the soil warmed is not known: "
                "what opens is {season}, when it cools."
            ).format(
                limit=self.limit(why.rule.spring_opens_c), season=name_season("fall", self.language)
            )
            return
        match self.decisive.cause:
            case "calendar":
                yield _("Its rule wants no other dig season this season.")
            case "turned":
                yield from self.turning()
            case "cooled" if why.event == "closed":
                yield _("{season} closes when the {mean} is below {limit} ({origin}).").format(
                    season=season,
                    mean=self.mean(),
                    limit=self.limit(limit_c),
                    origin=self.origin("cold_below_c"),
                )
            case "warmed" if why.event == "closed":
                yield _("{season} closes when the {mean} is above {limit} ({origin}).").format(
                    season=season,
                    mean=self.mean(),
                    limit=self.limit(limit_c),
                    origin=self.origin("hot_above_c"),
                )
            case "cooled":
                yield _(
                    "After heat, {season} opens again at {limit} or less (too hot above {hot}: "
                    "{origin})."
                ).format(
                    season=season,
                    limit=self.limit(limit_c),
                    hot=self.limit(why.rule.hot_above_c),
                    origin=self.origin("hot_above_c"),
                )
            case "unknown":
                return
            case _:
                yield from self.warming()

    def last_mean(self) -> str:
        _, rule, standing = self._, self.why.rule, self.why.standing
        if standing.mean_c is None or standing.mean_on is None:
            text = _("No {mean} of this season is known yet: it needs {needs} of {days} days.")
        else:
            text = _(
                "The last {mean} was {temperature} on {day}, too long ago to say how things stand: "
                "it needs {needs} of {days} days."
            )
        return text.format(
            mean=self.mean(),
            temperature=self.temperature(standing.mean_c),
            day=self.day(standing.mean_on or self.why.day),
            needs=rule.mean_needs,
            days=rule.mean_days,
        )

    def turning(self) -> Iterator[str]:
        _, why = self._, self.why
        text = _(
            "{season} opens when the {mean} has fallen by {drop} from the highest of the season, "
            "from {day} on ({origin})."
        )
        if why.event == "closed":
            text = _(
                "{season} closes when the {mean} has fallen by {drop} from the highest of the "
                "season, from {day} on ({origin})."
            )
        yield text.format(
            season=name_season(why.kind, self.language),
            mean=self.mean(),
            drop=show_difference(why.rule.fall_drop_c, self.unit, self.language),
            day=self.day(why.turns_from),
            origin=self.origin("fall_drop_c"),
        )
        if why.standing.highest_c is not None and self.decisive.limit_c is not None:
            text = _("The highest so far was {highest}, so that it takes {limit} or less.")
            yield text.format(
                highest=self.temperature(why.standing.highest_c),
                limit=self.limit(self.decisive.limit_c),
            )

    def warming(self) -> Iterator[str]:
        _, why, limit_c = self._, self.why, self.decisive.limit_c
        season = name_season(why.kind, self.language)
        if why.kind == "fall":
            yield _(
                "{season} opens again when the {mean} is at {limit} or more ({origin})."
            ).format(
                season=season,
                mean=self.mean(),
                limit=self.limit(limit_c),
                origin=self.origin("cold_below_c"),
            )
            return
        yield _(
            "{season} opens when the {mean} is at {limit} or more, from {day} on ({origin})."
        ).format(
            season=season,
            mean=self.mean(),
            limit=self.limit(limit_c),
            day=self.day(why.opens_on),
            origin=self.origin("spring_opens_c"),
        )
        rule, total_c = why.rule, why.standing.degree_days_c
        if rule.degree_days == "condition" and total_c is not None and rule.degree_days_sum_c:
            total, needed = (
                delta_c_to_f(value) if self.unit == "F" else value
                for value in (total_c + rule.tolerance_c, rule.degree_days_sum_c)
            )
            yield _(
                "It also waits for {needed} degree-days of °{unit}; there were {total}."
            ).format(needed=f"{needed:.0f}", unit=self.unit, total=floor(total))

    def missing(self) -> Iterator[str]:
        _, why = self._, self.why
        if why.not_before < why.day:
            text = _("No {mean} is known from {first} to {last}: it may have opened unseen then.")
            if why.event == "closed":
                text = _(
                    "No {mean} is known from {first} to {last}: it may have closed unseen then."
                )
            yield text.format(
                mean=self.mean(),
                first=self.day(why.not_before),
                last=self.day(why.day - timedelta(days=1)),
            )

    def errors(self) -> Iterator[str]:
        _, why, between = self._, self.why, self.why.between
        if between is None:
            return
        if between == DateRange(why.not_before, why.day):
            if between.earliest == between.latest:
                yield _("Shifted up and down by the error of the readings, it stays this day.")
        elif between.latest is None:
            text = _(
                "Shifted up and down by the error of the readings, the day may be as early as "
                "{first}, or not have come yet."
            )
            yield text.format(first=self.day(between.earliest))
        else:
            when = show_when(between.latest, self.language, self.why.day, between.earliest)
            yield _(
                "Shifted up and down by the error of the readings, the day lies {when}."
            ).format(when=when)

    def lacking(self) -> Iterator[str]:
        """Say what it would have taken, or what it takes."""
        _, why, short_by_c = self._, self.why, self.decisive.short_by_c
        if why.day == why.opens_on and why.event == "opened" and short_by_c is None:
            text = _("The soil was ready before, but {season} does not open before {day}.")
            season = name_season(why.kind, self.language)
            yield text.format(season=season, day=self.day(why.opens_on))
        if why.event == "not open" and why.kind in why.rule.windows and why.day < why.opens_on:
            yield _("It does not open before {day}.").format(day=self.day(why.opens_on))
        if short_by_c is None:
            return
        warmer = (self.decisive.cause == "warmed") == (why.event != "closed")
        if why.event == "closed" and self.decisive.cause == "turned":
            warmer = True
        match why.event, warmer:
            case "opened", True:
                text = _("To open a day earlier it would have had to be warmer by {difference}.")
            case "opened", False:
                text = _("To open a day earlier it would have had to be cooler by {difference}.")
            case "closed", True:
                text = _("To stay open that day it would have had to be warmer by {difference}.")
            case "closed", False:
                text = _("To stay open that day it would have had to be cooler by {difference}.")
            case _, True:
                text = _("It takes {difference} more.")
            case _:
                text = _("It takes {difference} less.")
        yield text.format(difference=show_difference(short_by_c, self.unit, self.language))

    def origin(self, number: str) -> str:
        return show_origin(number, self.why.rule, self.language)

    def mean(self) -> str:
        return show_mean(self.why.rule.mean_days, self.language)

    def day(self, day: date) -> str:
        return show_day(day, self.language, self.why.day)

    def limit(self, limit_c: float | None) -> str:
        return "" if limit_c is None else show_limit(limit_c, self.unit, self.language)

    def temperature(self, temp_c: float | None, limit_c: float | None = None) -> str:
        return "" if temp_c is None else show_temperature(temp_c, self.unit, self.language, limit_c)


def show_origin(number: str, rule: WindowRule, language: str) -> str:
    """Return where a number of a rule comes from, in words."""
    _ = translations(language).gettext
    if getattr(rule, number) != getattr(GRAPE_PHYLLOXERA, number):
        return _("by the rule set {name}").format(name=rule.name)
    match ORIGINS[number]:
        case "[UC-PHYLLOXERA]":
            return _("the grape pest guideline of the University of California")
        case "[FISHER-2003]":
            return _("Fisher, Albrecht and Chitkowski 2003")
        case origin if origin == NO_SOURCE:
            return _("common practice, no source")
        case _:
            return _("our own choice")
