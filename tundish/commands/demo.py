"""``tundish demo``: the daemon on the simulated bench."""

from pathlib import Path

import click

from tundish import log
from tundish.commands.options import for_option


@click.command("demo")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8710,
    show_default=True,
    help="Where to serve on 127.0.0.1.",
)
@for_option
@click.option(
    "--folder", type=click.Path(path_type=Path, file_okay=False), default=Path("demo"), show_default=True
)
def command(port: int, for_s: float | None, folder: Path) -> None:
    """Run the daemon on a simulated bench, with a store of its own in the demo folder.

    Example: tundish demo --port 8710 --for 60
    """
    from tundish.daemon import run_daemon
    from tundish.demo import demo_config, furnished, simulated_bench, welcome
    from tundish.web import bind

    log.set_up()
    bind("127.0.0.1", port).close()  # a taken port is told before anything is started
    with simulated_bench(folder) as instruments:
        config = folder / "tundish.toml"
        config.write_text(demo_config(instruments, port), encoding="utf-8")
        furnished(config)
        click.echo(welcome(port, folder))
        run_daemon(config, for_s)
