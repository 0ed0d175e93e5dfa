"""``tundish listen``: the bytes of one line as they come."""

from pathlib import Path

import click

from tundish.commands.options import for_option


@click.command("listen")
@click.option(
    "--config",
    "file",
    type=click.Path(path_type=Path),
    default=Path("tundish.toml"),
    show_default=True,
    help="The configuration file.",
)
@for_option
@click.argument("line")
def command(line: str, file: Path, for_s: float | None) -> None:
    """Show the bytes that come in on LINE, what its driver makes of them, and what seems wrong.

    Nothing is stored and nothing is sent. Opens the port, so a running daemon must not hold it; while one
    runs, ask it instead: GET /api/v1/lines/LINE/doctor.

    Example: tundish listen so2 --config tundish.toml
    """
    from tundish.config import load_config
    from tundish.config_faults import ConfigError
    from tundish.wiring import line_plans

    all_plans = line_plans(load_config(file), file.resolve().parent, str(file))
    plans = {plan.settings.name: plan for plan in all_plans}
    if line not in plans:
        raise ConfigError(str(file), [f"there is no line {line!r}; known: {', '.join(plans) or 'none'}"])
    from tundish.listening import listen
    from tundish.log import set_up
    from tundish.loop import run

    set_up("error")  # what the line does is shown anyway

    try:
        run(listen(plans[line], for_s, click.echo))
    except KeyboardInterrupt:
        click.echo("stopped")
