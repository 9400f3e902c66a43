"""What did not arrive, told to a coordinator: to whom, why, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from alerts.digest import Reader
from alerts.gsm import ONE_PART, count_septets, shorten, to_gsm7
from alerts.letter import Entry, Letter, Part
from alerts.news import sort_key, tidy
from alerts.words import translations

MOST_OF_AN_ANSWER = 300
_NAME_LENGTHS = (40, 20, 12)


@dataclass(frozen=True)
class Undelivered:
    """A message that does not arrive, or an address where nothing does.

    channel : "mail" or "sms"
    why : what was answered, as it came
    is_suspended : whether nothing more is sent to the address
    """

    reader_name: str
    channel: str
    address: str
    why: str
    is_suspended: bool


def compose_undelivered(several: Sequence[Undelivered], reader: Reader) -> Letter:
    """Return what did not arrive as a letter.

    Raises
    ------
    ValueError
        When there is nothing.
    """
    words = translations(reader.language)
    _ = words.gettext
    ordered = _order(several)
    label = _label(ordered[0], reader.language)
    subject = words.ngettext(
        "Not delivered: {message}", "Not delivered: {count} messages", len(ordered)
    ).format(message=label, count=len(ordered))
    what_to_do = (
        _("Tell them yourself meanwhile: it may have said that dig season is open."),
        _(
            "Ask them for an address or a number that works, and give it to whoever keeps the farm "
            "file."
        ),
    )
    source = _("For {reader} by {organisation}.").format(
        reader=reader.name, organisation=reader.organisation
    )
    told = tuple(_tell(one, reader.language) for one in ordered)
    parts = Part(entries=told), Part(_("What to do"), items=what_to_do)
    return Letter(subject, reader.language, parts, source)


def compose_undelivered_sms(several: Sequence[Undelivered], language: str) -> str:
    """Return what did not arrive as an SMS: GSM 7-bit alphabet, one part."""
    texts = (to_gsm7(wording) for wording in _wordings(_order(several), language))
    return next(text for text in texts if count_septets(text) <= ONE_PART)


def _order(several: Sequence[Undelivered]) -> list[Undelivered]:
    if not several:
        raise ValueError("everything arrived; compose a message only when something has not")
    return sorted(several, key=lambda one: (*sort_key(one.reader_name), one.channel))


def _label(one: Undelivered, language: str, length: int | None = None) -> str:
    """Return "mail to Ada Example"."""
    _ = translations(language).gettext
    name = tidy(one.reader_name) if length is None else shorten(one.reader_name, length)
    text = _("mail to {reader}") if one.channel == "mail" else _("text to {reader}")
    return text.format(reader=name)


def _tell(one: Undelivered, language: str) -> Entry:
    _ = translations(language).gettext
    answer = tidy(one.why)[:MOST_OF_AN_ANSWER].rstrip(".")
    sentences = [_("The reason: {answer}.").format(answer=answer)]
    if one.is_suspended:
        sentences.append(_("Nothing more goes to this address until it is corrected."))
    else:
        sentences.append(_("This message alone is given up; others go on to this address."))
    return Entry(f"{_label(one, language)} ({one.address})", (" ".join(sentences),))


def _wordings(ordered: Sequence[Undelivered], language: str) -> Iterator[str]:
    """Yield wordings, the fullest first."""
    _ = translations(language).gettext
    told = _("Not delivered: {messages}")
    ask = _("Ask for an address or number that works.")
    for count in range(len(ordered), 0, -1):
        for length in _NAME_LENGTHS:
            names = ", ".join(_label(one, language, length) for one in ordered[:count])
            left = len(ordered) - count
            more = _("; +{count} more").format(count=left) if left else ""
            yield f"{told.format(messages=names)}{more}. {ask}"
