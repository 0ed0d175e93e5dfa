"""``tundish run``: the daemon."""

from pathlib import Path

import click

from tundish import log
from tundish.commands.options import config_option, for_option


@click.command("run")
@config_option
@for_option
def command(file: Path, for_s: float | None) -> None:
    """Run the daemon until Ctrl-C, SIGTERM or Ctrl-Break.

    Example: tundish run --config tundish.toml
    """
    from tundish.config import load_config
    from tundish.daemon import run_daemon

    config = load_config(file)
    log.set_up(config.log.level, config.log.form)
    run_daemon(file, for_s)
