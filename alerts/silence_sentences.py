"""A silence in words: since when, what rests on it, what to do; and that readings are back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from alerts.figures import show_day, show_list
from alerts.news import tidy
from alerts.silence_news import SilenceNotice
from alerts.words import translations

MOST_BLOCKS = 6
MOST_OF_A_FAILURE = 200


def tell_silence(one: SilenceNotice, language: str, as_of: date) -> str:
    """Return all there is to say of a silence, as one paragraph."""
    match one.what:
        case "stopped":
            sentences = (
                *_tell_stop(one, language, as_of),
                *_tell_blocks(one, language),
                *_tell_remedy(one, language),
            )
        case "due":
            sentences = (*_tell_due(one, language, as_of), *_tell_blocks(one, language))
        case "returned":
            sentences = tuple(_tell_return(one, language, as_of))
    return " ".join(sentences)


def _tell_stop(one: SilenceNotice, language: str, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    if one.unusable:
        text = _("No usable readings since {day}: what it sends cannot be right.")
    else:
        text = _("No readings since {day}.")
    yield text.format(day=show_day(one.last_on, language, as_of))
    if one.depth_cm is not None:
        yield _("The other depths go on.")
    elif one.failing_since is not None:
        yield _("Fetching it has failed since {day}: {failure}.").format(
            day=show_day(one.failing_since, language, as_of),
            failure=tidy(one.failure or "")[:MOST_OF_A_FAILURE].rstrip("."),
        )
    elif one.is_station and not one.unusable:
        yield _("Its server answers, but has nothing newer.")


def _tell_blocks(one: SilenceNotice, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    if one.block_names:
        yield _("Until readings come, dig season may open or close unseen in {blocks}.").format(
            blocks=_show_blocks(one.block_names, language)
        )
    if one.borrower_names:
        yield _(
            "Borrowed from it: {blocks}. Until readings come, other neighbours stand in, where "
            "there are any."
        ).format(blocks=_show_blocks(one.borrower_names, language))


def _tell_remedy(one: SilenceNotice, language: str) -> Iterator[str]:
    _ = translations(language).gettext
    if one.is_lent:
        return
    if one.is_station:
        yield _(
            "Digseason keeps asking. If that does not help, let your blocks rest on another "
            "station or on probes of your own."
        )
        return
    if one.depth_cm is None:
        yield _("Look at its battery, its plugs and cables and, if it has one, its SIM card.")
        if not one.unusable:
            yield _("If it still holds readings, bring them in: what comes late counts too.")
    else:
        yield _("Look at its plug and cable. If the probe is lost, put in a new one.")
        if one.block_names:
            yield _("Without it, the depth has to be taken out of the blocks that rest on it.")
    yield _("Have buried lines located before you dig for a probe or a cable.")


def _tell_due(one: SilenceNotice, language: str, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    yield _(
        "A download is due: it is usually emptied every {count} days, and its last reading is "
        "of {day}."
    ).format(
        count=one.usual_days,
        day=show_day(one.last_on, language, as_of),
    )
    yield _("Empty it, bring its readings in, and look at its battery while you are there.")


def _tell_return(one: SilenceNotice, language: str, as_of: date) -> Iterator[str]:
    _ = translations(language).gettext
    first = show_day(one.last_on, language, as_of)
    if one.back_on is None:
        yield _("Readings are back; those since {day} have come too.").format(day=first)
    else:
        yield _("Readings are back; there are none between {first} and {last}.").format(
            first=first, last=show_day(one.back_on, language, as_of)
        )
        if not one.is_station and not one.is_lent:
            yield _("If it still holds readings, bring them in: what comes late counts too.")
    if one.block_names:
        blocks = _show_blocks(one.block_names, language)
        yield _("Dig season in {blocks} rests on it.").format(blocks=blocks)
    if one.borrower_names:
        blocks = _show_blocks(one.borrower_names, language)
        yield _("Borrowed from it again: {blocks}.").format(blocks=blocks)


def _show_blocks(block_names: Sequence[str], language: str) -> str:
    """Return "River Row, Long Acre and 12 more"."""
    names = [tidy(name) for name in block_names]
    left = len(names) - MOST_BLOCKS
    if left > 1:
        more = translations(language).ngettext("{count} more", "{count} more", left)
        names = [*names[:MOST_BLOCKS], more.format(count=left)]
    return show_list(names, language)
