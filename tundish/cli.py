"""The command line. Each command lives in a module of its own and is imported only when it is called."""

import importlib
import sys
from collections.abc import Callable
from typing import Any

import click

import tundish.lean  # noqa: F401 - first of ours
from tundish.version import software_version

COMMANDS = {
    "backup": "copy a store and check the copy",
    "check": "say everything that is wrong with a configuration file or a driver",
    "demo": "run the daemon on a simulated bench",
    "export": "write everything that a store holds in open form, or read it back",
    "keys": "make, list and revoke keys for programs and for the network",
    "learn": "propose a driver file from the bytes of an unknown instrument",
    "lines": "list ports, and the lines of a running daemon",
    "listen": "show what comes in on a line, byte by byte",
    "migrate": "bring the tables of a store up to date, and give rights in them",
    "move": "copy a store to a server, or back into a file",
    "people": "enter the first person, with a pin, at the store itself",
    "pour": "run captured bytes through a driver",
    "reload": "let the running daemon read its configuration again",
    "restore": "put a checked copy back",
    "run": "run the daemon",
    "selftest": "compute the published figures on this installation",
    "verify": "walk the ledger of a store and name the first bad row",
}
"""Every command with its line in the help; the module is ``tundish.commands.<name>``."""

USAGE_ERROR = 2
"""Exit code of everything that the caller can mend."""


class _LazyGroup(click.Group):
    """A group that knows its commands by name and imports the one that is asked for."""

    def list_commands(self, _ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, _ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"tundish.commands.{name}")
        command: click.Command = module.command
        return command

    def format_commands(self, _ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(software_version(), prog_name="tundish")
def cli() -> None:
    """Hear the instruments of a winery laboratory and keep every number with its thread back to the bytes.

    Example: tundish demo
    """


def _expected_errors() -> tuple[type[Exception], ...]:
    """Return the errors that a person can mend; anything else is our bug and shows its traceback."""
    from acquire.errors import AcquireError
    from storage.errors import StorageError
    from tundish.config_faults import ConfigError
    from tundish.errors import TundishError

    return AcquireError, StorageError, ConfigError, TundishError


def guarded(call: Callable[[], Any]) -> int:
    """Run a call and turn errors that a person can mend into one clear text each and exit code 2."""
    try:
        code = call()  # click gives the code of an exit back when it does not end the process itself
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.ClickException as error:
        error.show()
        return USAGE_ERROR
    except (click.Abort, KeyboardInterrupt):
        return 130
    except _expected_errors() as error:
        click.echo(f"tundish: {error}", err=True)
        return USAGE_ERROR
    return code if isinstance(code, int) else 0


def main() -> None:
    """Enter here from the console script."""
    sys.exit(guarded(lambda: cli(standalone_mode=False)))
