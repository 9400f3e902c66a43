"""The command line: one small module a command, each imported only when it is called."""

from __future__ import annotations

import os
from importlib import import_module
from pathlib import Path
from textwrap import fill

import click

from service.store.busy import explain_not_now

WIDTH = 80

# before numpy comes: its threads wait for each other with all their might, and jobs have their own
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS = {  # command -> its module, its line in the help; in the order of the work
    "setup": ("service.cli.setup", "Read the farm file, or write it from the store."),
    "propose": ("service.cli.propose", "Propose a layout for an unknown logger file."),
    "import": ("service.cli.import_", "Read logger files into the store."),
    "inbox": ("service.cli.inbox", "Import what lies in the inbox, once."),
    "fetch": ("service.cli.fetch", "Fetch what is new of the stations of public feeds."),
    "tokens": ("service.cli.tokens", "Let loggers push readings, and programs in."),
    "imports": ("service.cli.imports", "List imports; withdraw them, settle their conflicts."),
    "loggers": ("service.cli.loggers", "List loggers and stations, and which are silent."),
    "checks": ("service.cli.checks", "Show which readings are suspect and why; overrule that."),
    "hand": ("service.cli.hand", "Note what a soil thermometer said."),
    "readings": ("service.cli.readings", "Print the readings of a logger."),
    "rootzone": ("service.cli.rootzone", "Print a block's root-zone temperature by day."),
    "rule": ("service.cli.rule", "Show the rule sets and where each number comes from."),
    "soil": ("service.cli.soil", "Tell how heat moves in the soil of a block."),
    "neighbours": ("service.cli.neighbours", "Show whom blocks without probes borrow from."),
    "windows": ("service.cli.windows", "Show when the scouting windows opened and closed."),
    "ribbon": ("service.cli.ribbon", "Show seasons as ribbons, of blocks or of years."),
    "region": ("service.cli.region", "Show how a region stands: figures, map, share open."),
    "bulletin": ("service.cli.bulletin", "Write a sheet for the notice board."),
    "calendar": ("service.cli.calendar", "Write windows as a calendar for phones."),
    "why": ("service.cli.why", "Tell how a date was reached, from readings to rule."),
    "whatif": ("service.cli.whatif", "Show how dates move under other numbers of the rule."),
    "compare": ("service.cli.compare", "Compare windows across places, depths and years."),
    "outlook": ("service.cli.outlook", "Show when windows will likely open and close."),
    "score": ("service.cli.score", "Score the outlooks that seasons past would have had."),
    "patches": ("service.cli.patches", "Find the weak patches of a block, and where to dig."),
    "digs": ("service.cli.digs", "Plan digs: how many vines, which ones, on which days."),
    "finds": ("service.cli.finds", "Keep what digging at vines showed, and list it."),
    "order": ("service.cli.order", "Tell which block to go to first, and what to clean."),
    "spread": ("service.cli.spread", "Tell how weak patches and finds have grown."),
    "replanting": ("service.cli.replanting", "List what to decide on replanting by."),
    "round": ("service.cli.round_", "Evaluate all blocks, compose and deliver the digests."),
    "advisory": ("service.cli.advisory", "Review, release or drop what a whole region is told."),
    "recipients": ("service.cli.recipients", "List who is told, and whether they want to be."),
    "person": ("service.cli.person", "Hand a person what is held of them, or forget them."),
    "accounts": ("service.cli.accounts", "Say who may sign in; invite, revoke, see the log."),
    "outbox": ("service.cli.outbox", "List what waits to be sent; send, retry, drop it."),
    "send-test": ("service.cli.send_test", "Send one message, and say what happened to it."),
    "check": ("service.cli.check", "Look after Digseason itself, with a remedy for each fault."),
    "keep": ("service.cli.keep", "Let old readings go, and keep their daily means."),
    "export": ("service.cli.export", "Write readings and daily means to Parquet files."),
    "backup": ("service.cli.backup", "Write the whole store to a file."),
    "restore": ("service.cli.restore", "Fill an empty store from a backup."),
    "move-store": ("service.cli.move_store", "Copy the store to another database."),
    "serve": ("service.cli.serve", "Serve pages and the API, and run the rounds that are due."),
    "jobs": ("service.cli.jobs", "Run the rounds that are due, apart from the pages."),
}


class _Commands(click.Group):
    """Commands that are imported when they are called, so that --help costs no pandas."""

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; that others are at work, or a disk is full, is told in a paragraph."""
        try:
            return super().invoke(ctx)
        except Exception as error:
            why = explain_not_now(error)
            if why is None:
                raise
            told = fill(f"Error: {why}", WIDTH)
            raise click.ClickException(told.removeprefix("Error: ")) from None

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        """Return the names in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the module of a command and return it."""
        if cmd_name not in COMMANDS:
            return None
        return import_module(COMMANDS[cmd_name][0]).command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--data",
    envvar="DIGSEASON_DATA",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("data"),
    show_default=True,
    help="Folder that holds everything Digseason keeps.",
)
@click.version_option(package_name="digseason")
@click.pass_context
def main(ctx: click.Context, data: Path) -> None:
    """Tell vineyards when to dig for grape phylloxera, from soil temperatures."""
    ctx.obj = data
