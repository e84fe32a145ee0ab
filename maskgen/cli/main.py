"""The command group and the one error boundary."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from typing import ClassVar

import click

from maskgen import __version__
from maskgen.errors import MaskgenError

USAGE_ERROR = 2


class _LazyGroup(click.Group):
    """Loads a command's module only when it is called, so that `--help` answers at once."""

    commands_help: ClassVar[dict[str, str]] = {
        "convert": "Turn artwork into a complete job folder.",
        "layers": "Trace artwork to flat colour regions.",
        "plan": "Find the order of dyes that needs the fewest strips.",
        "names": "Make a job for every row of a name list.",
        "check": "Judge a supplied cut file, and mend what can be mended.",
        "coupon": "Make a test piece, or read its measurements back.",
        "dyes": "List and check a dye shelf.",
    }

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for name in self.commands_help if _module_exists(name)]

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in self.commands_help or not _module_exists(name):
            return None
        from importlib import import_module

        command = import_module(f"maskgen.cli.{name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        names = self.list_commands(ctx)
        if names:
            with formatter.section("Commands"):
                formatter.write_dl([(name, self.commands_help[name]) for name in names])


def _module_exists(name: str) -> bool:
    from importlib.util import find_spec

    return find_spec(f"maskgen.cli.{name}") is not None


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="maskgen")
def main() -> None:
    """Cut masks, dye order and bench papers for multi-colour dyeing of anodised aluminium."""


def run() -> None:
    """Run the command line; every failure is one line on standard error and status 2, an unexpected one too.

    Status 1 says that files were written and hold an error, so nothing that stopped the work may end with it.
    """
    try:
        status = main(standalone_mode=False)
    except click.exceptions.Exit as leave:
        status = leave.exit_code
    except click.Abort:
        click.echo("maskgen: stopped", err=True)
        status = 130
    except click.ClickException as error:
        click.echo(f"maskgen: {_usage(error)}", err=True)
        status = USAGE_ERROR
    except MaskgenError as error:
        click.echo(f"maskgen: {error}", err=True)
        status = USAGE_ERROR
    except MemoryError:
        click.echo("maskgen: the memory is not enough for this; make the artwork or the list smaller", err=True)
        status = USAGE_ERROR
    except Exception as error:
        click.echo(f"maskgen: {_fault(error)}", err=True)
        status = USAGE_ERROR
    sys.exit(status if isinstance(status, int) else 0)


def _fault(error: Exception) -> str:
    """Say in one line what an unexpected failure was and where, so that it can be told to whoever mends the program."""
    places = [f for f in traceback.extract_tb(error.__traceback__) if "maskgen" in f.filename]
    place = f" in {Path(places[-1].filename).name}, line {places[-1].lineno}" if places else ""
    what = " ".join(f"{type(error).__name__}: {error}".split())
    return f"stopped by a fault of the program: {what}{place}; please report it with the file it happened on"


def _usage(error: click.ClickException) -> str:
    """Say in one line what is wrong with the call, in which command, and where its options are told."""
    message = " ".join(error.format_message().split()).rstrip(".")
    context = error.ctx if isinstance(error, click.UsageError) else None
    if context is None:
        return message
    command = context.command_path.split()[1:]
    return ": ".join((*command, f"{message}; see `{' '.join(['maskgen', *command, '--help'])}`"))
