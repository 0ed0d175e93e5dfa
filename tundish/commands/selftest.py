"""``tundish selftest``: the published figures, computed on this installation."""

import json
import shutil

import click

FAILED = 1
"""Exit code when a published figure is not reproduced."""


@click.command("selftest")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@click.option("--only", default="", metavar="ID", help="Only figures whose id begins so, such as curves.")
def command(*, as_json: bool, only: str) -> None:
    """Compute the published examples on this installation and compare them with what was printed.

    Example: tundish selftest --only strd
    """
    from tundish.selftest import report, runner

    outcome = runner.run_all(only)
    if not outcome.cells:
        areas = sorted({case.table.split(".", 1)[0] for case in runner.all_cases()})
        raise click.BadParameter(
            f"no figure has an id that begins with {only!r}; ids begin with: {', '.join(areas)}",
            param_hint="--only",
        )
    width = shutil.get_terminal_size().columns
    click.echo(
        json.dumps(report.as_json(outcome), ensure_ascii=False, indent=2)
        if as_json
        else report.as_text(outcome, width)
    )
    if not outcome.passed:
        raise click.exceptions.Exit(FAILED)
