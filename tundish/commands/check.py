"""``tundish check FILE``: everything that is wrong with a configuration, or with a driver."""

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tundish.config import load_config, read_table
from tundish.config_faults import ConfigError

if TYPE_CHECKING:
    from acquire.battery import Subject
    from acquire.registry import DriverRegistry

BROKEN = 1
"""Exit code when a driver breaks a law."""


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
def command(file: Path) -> None:
    """Say everything that is wrong with a configuration FILE, its drivers included.

    FILE may also be a driver file, or the name of a driver: it is then put through the laws that every driver
    keeps. Opens no port and no store. Exit code 2 if anything is wrong, 1 if a driver breaks a law.

    Example: tundish check tundish.toml
    """
    if _is_driver(file):
        from acquire.registry import DriverRegistry

        check_driver(str(file), DriverRegistry())
    else:
        check_configuration(file)


def check_configuration(file: Path) -> None:
    """Say which lines a configuration gives; raise `ConfigError` with everything that is wrong with it."""
    from storage.place import place_of
    from tundish.lines_file import LinesFile
    from tundish.publish_wiring import publish_source
    from tundish.store_address import store_address
    from tundish.wiring import driver_faults, line_plans

    table = read_table(file)
    try:
        config = load_config(file)
    except ConfigError as error:
        faults = [*error.faults, *driver_faults(table, file.resolve().parent)]
        raise ConfigError(error.source, faults) from error
    plans = line_plans(config, file.resolve().parent, str(file))
    place_of(store_address(config.store, file.resolve().parent))
    if config.publish is not None:
        publish_source(config.publish, file.resolve().parent, str(file))
    kept = LinesFile(file)
    names = [line.get("name") for line in kept.read()]
    click.echo(f"{file}: in order; {len(plans)} {'line' if len(plans) == 1 else 'lines'}")
    for plan in plans:
        name = plan.settings.name
        marks = (plan.stopped, "stopped"), (name in names, f"as changed in {kept.path.name}")
        said = "".join(f", {mark}" for holds, mark in marks if holds)
        click.echo(f"  {name}: {plan.settings.instrument} by {plan.factory.identity.name}{said}")


def check_driver(name: str, registry: "DriverRegistry") -> None:
    """Load a driver and say which law of the battery it keeps; exit with 1 if it breaks one."""
    from acquire.battery import LAWS, BrokenLawError, subject_of

    broken = False
    try:
        subject = subject_of(registry.factory(name))
    except BrokenLawError as error:
        click.echo(f"{name}: {error}")
        raise click.exceptions.Exit(BROKEN) from error
    click.echo(f"{name}: loaded; tried by {len(subject.messages)} messages")
    for law in LAWS:
        try:
            law(subject)
        except BrokenLawError as error:
            broken = True
            click.echo(f"  BROKEN  {law.__name__.replace('_', ' ')}: {error}")
        else:
            click.echo(f"  kept    {law.__name__.replace('_', ' ')}")
    if broken:
        raise click.exceptions.Exit(BROKEN)
    click.echo(f"  {_repeats(subject)}")


def _repeats(subject: "Subject") -> str:
    """Say by what a message that is sent again is known."""
    from acquire.events import Reading
    from bench.repeats import names_its_message

    readings = [one for one in subject.said(*subject.messages) if isinstance(one, Reading)]
    unnamed = [one for one in readings if not names_its_message(one.sequence, one.instrument_time)]
    if unnamed:
        return (
            f"marks no repeats of {len(unnamed)} of its {len(readings)} readings: they carry neither a number"
            " nor a date with a time to the second, so that what is sent again from memory counts again"
        )
    return "what is sent again from memory is marked, and counted once"


def _is_driver(file: Path) -> bool:
    """Tell a driver file by its table framing, and the name of a driver by being no file."""
    if not file.exists():
        return file.suffix != ".toml"
    try:
        return "framing" in tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return False
