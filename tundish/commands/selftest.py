"""``tundish selftest``: the published figures, computed on this installation."""

import shutil

import click

FAILED = 1
"""Exit code when a published figure is not reproduced."""


@click.command("selftest")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
def command(*, as_json: bool) -> None:
    """Compute the published examples on this installation and compare them with what was printed.

    Example: tundish selftest --json
    """
    from tundish.selftest import report, runner

    outcome = runner.run_all()
    width = shutil.get_terminal_size().columns
    click.echo(report.as_json(outcome) if as_json else report.as_text(outcome, width))
    if not outcome.passed:
        raise click.exceptions.Exit(FAILED)
