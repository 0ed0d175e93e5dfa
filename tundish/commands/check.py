"""``tundish check FILE``: everything that is wrong with a configuration, at once."""

from pathlib import Path

import click

from tundish.config import load_config, read_table
from tundish.config_faults import ConfigError


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
def command(file: Path) -> None:
    """Say everything that is wrong with a configuration FILE, its drivers included.

    Opens no port and no store. Exit code 2 if anything is wrong.

    Example: tundish check tundish.toml
    """
    from tundish.lines_file import LinesFile
    from tundish.wiring import driver_faults, line_plans

    table = read_table(file)
    try:
        config = load_config(file)
    except ConfigError as error:
        faults = [*error.faults, *driver_faults(table, file.resolve().parent)]
        raise ConfigError(error.source, faults) from error
    plans = line_plans(config, file.resolve().parent, str(file))
    kept = LinesFile(file)
    names = [line.get("name") for line in kept.read()]
    click.echo(f"{file}: in order; {len(plans)} lines")
    for plan in plans:
        name = plan.settings.name
        marks = (plan.stopped, "stopped"), (name in names, f"as changed in {kept.path.name}")
        said = "".join(f", {mark}" for holds, mark in marks if holds)
        click.echo(f"  {name}: {plan.settings.instrument} by {plan.factory.identity.name}{said}")
