"""``tundish listen``: the bytes of one line as they come."""

from collections.abc import Iterator
from pathlib import Path

import click

from tundish.commands.options import for_option

BYTES_A_ROW = 16


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
    """Show the bytes that come in on LINE and what its driver makes of them; nothing is stored.

    Opens the port, so a running daemon must not hold it.

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
    from tundish.loop import run

    try:
        run(listen(plans[line], for_s, click.echo))
    except KeyboardInterrupt:
        click.echo("stopped")


def hex_rows(data: bytes, offset: int) -> Iterator[str]:
    """Yield bytes as rows of offset, hexadecimal digits and text. [bytes]"""
    for begin in range(0, len(data), BYTES_A_ROW):
        row = data[begin : begin + BYTES_A_ROW]
        digits = " ".join(f"{byte:02x}" for byte in row)
        text = "".join(chr(byte) if 32 <= byte < 127 else "·" for byte in row)
        yield f"{offset + begin:8d}  {digits:<{3 * BYTES_A_ROW}} {text}"
