"""The manual page, made of what the commands say of themselves."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from inspect import cleandoc

import click

AFTER = r"""
.SH ENVIRONMENT
.TP
.B DIGSEASON_DATA
The data folder, as \-\-data.
.TP
.B DIGSEASON_DATABASE_URL
A PostgreSQL database instead of the SQLite file in that folder.
.PP
The README lists all others.
.SH FILES
.TP
.I /etc/digseason.env
Settings of the services that deploy/install sets up.
.TP
.I /var/lib/digseason
Their data folder.
.SH EXIT STATUS
0 when all is done; 1 when something was rejected or failed: that is listed, and the rest counts;
2 when it was used wrongly.
"""


def write_manual(main: click.Group, version: str) -> str:
    """Return the page of a command and all below it, in the macros of man(7)."""
    now = time.gmtime(float(os.environ.get("SOURCE_DATE_EPOCH", time.time())))
    context = click.Context(main, info_name="digseason", **main.context_settings)
    about = main.get_short_help_str(limit=200)
    return "\n".join(
        [
            f'.TH DIGSEASON 1 "{time.strftime("%Y-%m-%d", now)}" "Digseason {version}"',
            ".SH NAME",
            f"digseason \\- {escape(about[:1].lower() + about[1:])}",
            ".SH SYNOPSIS",
            *synopsis(context),
            ".SH OPTIONS",
            *options(context),
            ".SH COMMANDS",
            *commands(context),
            AFTER.strip(),
            "",
        ]
    )


def commands(context: click.Context) -> Iterator[str]:
    """Yield the lines of each command below another that has none below it."""
    command = context.command
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            if below and not below.hidden:
                yield from commands(click.Context(below, info_name=name, parent=context))
        return
    yield f".SS {escape(context.command_path)}"
    yield from synopsis(context)
    for paragraph in cleandoc(command.help or "").split("\n\n"):
        text = escape(paragraph.removeprefix("\b\n"))
        yield from (".PP", ".nf", text, ".fi") if paragraph.startswith("\b") else (".PP", text)
    yield from options(context)


def synopsis(context: click.Context) -> Iterator[str]:
    """Yield how a command is called."""
    pieces = " ".join(context.command.collect_usage_pieces(context))
    yield f"\\fB{escape(context.command_path)}\\fR {escape(pieces)}"


def options(context: click.Context) -> Iterator[str]:
    """Yield each option with what it does."""
    for parameter in context.command.params:
        record = parameter.get_help_record(context)
        if record and any(record[1:]):
            yield ".TP"
            yield f".B {escape(record[0])}"
            yield escape(record[1])


def escape(text: str) -> str:
    """Return text as the formatter takes it literally, a line each."""
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return re.sub(r"^[ \t]*(?=[.'])", r"\\&", text, flags=re.MULTILINE)
