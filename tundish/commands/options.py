"""Options that several commands share."""

import math
from pathlib import Path
from typing import Any

import click


class _Seconds(click.ParamType[float]):
    """A length of time: finite, and not negative. [s]"""

    name = "seconds"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number; refuse what is none, or never ends."""
        try:
            seconds = float(value)
        except ValueError:
            seconds = math.nan
        if not math.isfinite(seconds) or seconds < 0:
            self.fail(f"{value!r} is no length of time; give seconds such as 60, or leave it out", param, ctx)
        return seconds


for_option = click.option("--for", "for_s", type=_Seconds(), help="Stop by itself after so many seconds.")
"""``--for SECONDS``, handed over as `for_s`. [s]"""

config_option = click.option(
    "--config",
    "file",
    type=click.Path(path_type=Path),
    default=Path("tundish.toml"),
    show_default=True,
    help="The configuration file.",
)
"""``--config FILE``, handed over as `file`."""
