"""What is kept, refused or found in English, in the language of a visitor.

The log keeps deeds as they were noted; refusals are the same for people and programs, and what
`digseason check` finds is on its page what the command says: all are English. Here are their forms,
each once, as the catalogues have them; what has no form stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

from alerts.words import translations
from service.web.failure_forms import FAILURES
from service.web.file_words import tell_of_file

N_ = str
"""Marks words for the catalogues."""

DEEDS = (
    N_("added a logger"),
    N_("came by {provider}, not invited"),
    N_("chose a password"),
    N_("drafted an advisory"),
    N_("dropped a message"),
    N_("dropped an advisory"),
    N_("dropped what was held back"),
    N_("forgot a person"),
    N_("imported a file"),
    N_("invited as {role}"),
    N_("kept vigour"),
    N_("let a message be sent again"),
    N_("let messages go again"),
    N_("let the account see {named}"),
    N_("let the coordinator see finds no longer"),
    N_("let the coordinator see finds"),
    N_("locked out for a while"),
    N_("made a link to choose a password"),
    N_("made a token to {scope}"),
    N_("made a token to read metrics"),
    N_("made the link of a calendar"),
    N_("made {before} a {role}"),
    N_("noted on an advisory"),
    N_("released an advisory"),
    N_("renewed the link of a calendar"),
    N_("restored an import"),
    N_("restored the account"),
    N_("revoked a token"),
    N_("revoked the account"),
    N_("revoked the tokens of programs"),
    N_("revoked the link of a calendar"),
    N_("set a patch aside"),
    N_("shared a site no longer"),
    N_("shared a site with its exact place"),
    N_("shared a site without its exact place"),
    N_("signed in"),
    N_("signed in by {provider}"),
    N_("signed out everywhere"),
    N_("took a patch back"),
    N_("took back what was found"),
    N_("took vigour away"),
    N_("withdrew an import"),
)
REFUSALS = (
    N_("another web site sent this; open the page yourself"),
    N_("more than {count} MB; send less at once"),
    N_("no administrator would be left; let someone else be one first"),
    N_("no advisory has this number"),
    N_("no block is yours to see"),
    N_("no block of yours has this id"),
    N_("no block of yours is there"),
    N_("no calendar of yours has this number"),
    N_("no import of yours has this number"),
    N_("no message of yours has this number"),
    N_("no one does that to themselves: let another administrator do it"),
    N_("no site of yours has this id"),
    N_("nothing is held of anyone called so"),
    N_("nothing waits to be told"),
    N_("only a person who is signed in does that"),
    N_(
        "others are writing to the store, and this has waited long enough: nothing of it was kept. "
        "Try again in a minute; `digseason check` says what runs"
    ),
    N_(
        "the store takes no more: the disk that it lies on is full, or fails. Nothing of it was "
        "kept. Make room there, then try again"
    ),
    N_("there are no blocks yet"),
    N_("there is no such account"),
    N_("there is no such patch"),
    N_("there is no such survey of vigour"),
    N_("there is nothing at this address"),
    N_("this advisory is also for districts that this account does not see"),
    N_("this failed here; the log says why, under number {number}"),
    N_("this file is put aside no longer; it is kept as an import, or send it again"),
    N_("this form cannot be read: more than {most} fields"),
    N_("this form cannot be read: {why}"),
    N_("this form is of another session; open the page again"),
    N_("this is not for a {role}"),
    N_("this link does not work any more; make a new one at /calendars"),
    N_("this record was taken back; note it anew"),
    N_("to confirm, write the address or name as it stands there"),
    N_("too many requests; try again in a while"),
    N_("what the address or the body says is not of this form"),
    N_("another record has this id; give it one of its own"),
    N_("choose one of {roles}"),
    N_("its vigour cannot be used: {why}"),
    N_("name at most {count} blocks"),
    N_("no block is in this calendar any more"),
    N_("no block of yours is in such a calendar"),
    N_("no photo of yours has this number"),
    N_("no record of yours has this id"),
    N_("only {count} vines of it are known by row and number"),
    N_("readings before {day} are kept as daily means only"),
    N_("say first how this file is read: the name of its logger, and its layout"),
    N_("the connection broke off before all of it came"),
    N_("the patches were found anew since this page was shown; look at them again"),
    N_("there is no day to dig on, or a crew digs less than one vine a day"),
    N_("this calendar is asked for too often"),
    N_("write why, and who says so"),
)
INVALID = (
    N_("{place}: {given}: Input should be a valid integer, unable to parse string as an integer"),
    N_("{place}: {given}: Input should be a valid number, unable to parse string as a number"),
    N_("{place}: {given}: Input should be greater than or equal to {bound}"),
    N_("{place}: {given}: Input should be greater than {bound}"),
    N_("{place}: {given}: Input should be less than or equal to {bound}"),
    N_("{place}: {given}: Input should be {choices}"),
    N_("{place}: {given}: Input should be a valid date or datetime, {why}"),
    N_("{place}: {given}: Value error, name a day from {first} to {last}"),
)
"""What is wrong with one thing that the address says: the longer forms first."""
FINDINGS = (
    N_("process {process} on {host} runs a round, begun {length} ago"),
    N_("process {process} on {host} died in a round, begun {length} ago"),
    N_("Run `digseason round`, or let `digseason serve` do so: it takes over."),
    N_("See what keeps it; it may be stopped on {host} at any time."),
    N_("{name}: failing since {day}: {why}"),
    N_("Try `digseason fetch --station {name}`."),
    N_("Outlooks go on without it. Try `digseason fetch`."),
    N_("from neighbours by {count} block without probes (`digseason neighbours`)"),
    N_("from neighbours by {count} blocks without probes (`digseason neighbours`)"),
    N_("{count} message waits, {late} of them for more than an hour"),
    N_(
        "{count} message waits, {late} of them for more than an hour; {gone} of the last "
        "{days} days did not arrive"
    ),
    N_("{way}; not since {time} UTC: {why}"),
    N_("mails are written to files in {folder} and reach no one"),
    N_("texts are written to files in {folder} and reach no one"),
    N_("mails go out through {server}, from {address}"),
    N_("texts go out through {server}"),
    N_("texts go out as mails to {address}"),
    N_("the store is damaged: {faults}"),
    N_("Stop Digseason, keep this file, and restore the last backup into a new folder."),
    N_("at {revision}, up to date"),
    N_("every page of the store can be read"),
    N_("the server keeps checksums of its pages"),
    N_("the server keeps no checksums of its pages"),
    N_(
        "Stop the server, run `{command}` as postgres, and start it; the README says how in "
        "containers."
    ),
    N_("{size} GB free where {folder} lies; PostgreSQL's own disk is not seen"),
    N_("{size} GB free where {folder} lies"),
    N_("Make room: without it imports and rounds will fail."),
    N_("Make room: without it no backup can be made."),
    N_("other users of this machine may look into the data folder, addresses in it"),
    N_("Run `{command}`."),
    N_("only its owner may look into it"),
    N_("{time} UTC, later than all that is kept"),
    N_("{time} UTC, yet something was kept {length} later than that"),
    N_("Set this machine's clock, and let it follow a time server."),
    N_("Keep `digseason serve` running, or start `digseason round` every day."),
    N_("there has been none, not counting any with --as-of"),
    N_("the last one {length} ago"),
    N_("readings before {day} are kept as daily means only"),
    N_("{count}, and none fails"),
    N_("none is known to be silent"),
    N_("silent, in part or whole: {names}"),
    N_("`digseason loggers` says since when; look at battery, cable and link, or empty them."),
    N_("probes lie too shallow, so spring is told too early: {names}"),
    N_("Bury a deeper probe, or set carry = true in the [[block]] (`digseason soil`)."),
    N_("no probes, and no neighbour to borrow from: {names}"),
    N_("Bury a probe, read a [[thermometer]], or name a [[station]] of a public feed."),
    N_("held since {time} UTC: {why}"),
    N_("{count} messages wait, {late} of them for more than an hour"),
    N_("1 message waits, {late} of them for more than an hour"),
    N_("{count} messages of the last {days} days did not arrive"),
    N_("1 message of the last {days} days did not arrive"),
    N_("`digseason outbox` says why of each."),
    N_("`digseason outbox release` lets messages go, or drops them."),
    N_("`digseason outbox` says why, and what can be done with each."),
    N_("nothing goes to {name}, {address}: {why}"),
    N_("Correct it in the farm file, or run `digseason outbox resume {address}`."),
    N_("`digseason send-test --to ADDRESS` tries it."),
    N_("Set {setting} or {other}, then try `digseason send-test`."),
    N_("Set {setting}, then try `digseason send-test`."),
    N_("no one reads what comes back: DIGSEASON_BOUNCES is not set"),
    N_("read from {folder}"),
    N_("there is no {folder}"),
    N_("Set DIGSEASON_BOUNCES to the folder they come into."),
    N_("a mail server brings them to /api/bounces"),
    N_("none made by `digseason backup` is known"),
    N_(
        "Run `digseason backup FILE`, and have it run each night; set DIGSEASON_BACKUP_DAYS=0 "
        "where backups are made by other means."
    ),
    N_("no one is told of a late round: DIGSEASON_OPERATOR is not set"),
    N_("{address} could not be told what is wrong: {why}"),
    N_("{address} is told of a late round by mails that are files"),
    N_("{address} is told of a late round"),
    N_("no one misses it: DIGSEASON_HEARTBEAT_URL is not set"),
    N_("{host} is asked while all is well"),
    N_("not since {time} UTC: {why}"),
    N_("Check whether DIGSEASON_HEARTBEAT_URL still works."),
)
"""What `digseason check` says, and what it says to do: the longer forms first."""
THINGS = (
    *(N_("integrity"), N_("schema"), N_("disk"), N_("folder"), N_("clock"), N_("round")),
    *(N_("running"), N_("readings"), N_("feed"), N_("feeds"), N_("forecast"), N_("loggers")),
    *(N_("depth"), N_("borrowed"), N_("sending"), N_("outbox"), N_("address"), N_("bounces")),
    *(N_("undelivered"), N_("backup"), N_("operator"), N_("heartbeat"), N_("mail"), N_("sms")),
    N_("backup disk"),
)
"""What it looked at."""
LENGTHS = (N_("{count} hours"), N_("{count} days"))
WORDS = (N_("read"), N_("write"), N_("push"), N_("nothing"), N_("input is too short"))
"""What stands within some of them; roles are words of pages."""


def translate(text: str, forms: Iterable[str], language: str) -> str:
    """Return a text of one of some forms in a language."""
    gettext = translations(language).gettext
    for form in forms:
        found = _pattern(form).fullmatch(text)
        if found:
            parts = found.groupdict().items()
            shown = {name: _translate_part(part, language) for name, part in parts}
            return gettext(form).format(**shown)
    return text


def _translate_part(part: str, language: str) -> str:
    """Return what stands within a form: a word of ours, a length, a failure, or what is said of a
    file.
    """
    word = translations(language).gettext(part)
    return tell_of_file(translate(word, (*LENGTHS, *FAILURES), language), language)


@cache
def _pattern(form: str) -> re.Pattern[str]:
    """Return what a text of a form looks like."""
    return re.compile(re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>.+)", re.escape(form)))
