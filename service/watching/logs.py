"""The log: a line for each thing that happened, for a person, or as JSON for a program.

The standard library's logging does it, since that is what the libraries below us speak; all that
ours adds is one formatter. No line holds an address of a person, a phone number or a secret,
whoever wrote it: what looks like one is cut short here, in tracebacks too.
"""

from __future__ import annotations

import json
import logging
import re
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Literal

Form = Literal["lines", "json"]

REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="")
"""Of the request that is answered now."""

_CUT = (
    (re.compile(r"(?i)\b(bearer|basic) +[\w.~+/=-]+"), r"\1 ..."),
    (re.compile(r"(?<![\w.+-])([\w+-])[\w.+-]*@([\w-]+(?:\.[\w-]+)+)"), r"\1...@\2"),
    (re.compile(r"://[^/\s:@]+:[^/\s@]+@"), "://...@"),
    (re.compile(r"(\+\d{2})\d{4,12}(\d{2})(?!\d)"), r"\1...\2"),
    (re.compile(r"(?<![\w.:+-])(\d{2})\d{6,11}(\d{2})(?![\w:-]|\.\d)"), r"\1...\2"),
    (re.compile(r"(?<![\w.-])(\d+\.)+[\w-]{22}(?![\w-])"), "..."),
    (re.compile(r"[\w-]{43,}"), "..."),
)
"""What shows a secret, a mail address, a login, a phone number or a token, and what is left."""


def tell(
    log: logging.Logger, event: str, said: str, level: int = logging.INFO, **figures: Any
) -> None:
    """Write one line: what happened, in words, and its figures for programs."""
    log.log(level, "%s: %s", event, said, extra={"event": event, "figures": figures})


def start_log(form: Form) -> None:
    """Say what happens from now on, a line each, to the error output."""
    logging.basicConfig(level=logging.INFO, force=True)
    formatter = JsonLines() if form == "json" else Lines()
    for handler in logging.getLogger().handlers:
        handler.setFormatter(formatter)
    # It warns at each tick at which a job is still at it, as looking ahead may be for minutes.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)


class Lines(logging.Formatter):
    """Lines for a person; a traceback follows in lines of its own."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)-7s %(message)s", "%Y-%m-%d %H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        return hide_persons(super().format(record))

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 (its name)
        """Return the line without a traceback: one line, whatever was said."""
        request_id = REQUEST_ID.get()
        said = super().formatMessage(record) + (f" [{request_id}]" if request_id else "")
        return "".join(one if one.isprintable() else "\N{REPLACEMENT CHARACTER}" for one in said)


class JsonLines(logging.Formatter):
    """Lines of JSON: at, level, event and said, then the figures of that event."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": getattr(record, "event", record.name),
            "said": record.getMessage(),
        }
        if request_id := REQUEST_ID.get():
            told["request_id"] = request_id
        if record.exc_info:
            told["traceback"] = self.formatException(record.exc_info)
        told |= {k: v for k, v in getattr(record, "figures", {}).items() if k not in told}
        return json.dumps({name: _hide(value) for name, value in told.items()}, default=str)


def hide_persons(text: str) -> str:
    """Cut short what names a person or lets someone in."""
    for pattern, left in _CUT:
        text = pattern.sub(left, text)
    return text


def _hide(value: Any) -> Any:
    return hide_persons(value) if isinstance(value, str) else value
