"""``tundish selftest``: the published figures, computed on this installation."""

import json
import shutil

import click

FAILED = 1
"""Exit code when a published figure is not reproduced."""


@click.command("selftest")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@click.option("--page", "as_page", is_flag=True, help="On one page in Markdown: a line a table, the curves.")
@click.option("--only", default="", metavar="ID", help="Only figures whose id begins so, such as curves.")
def command(*, as_json: bool, as_page: bool, only: str) -> None:
    """Compute the published examples on this installation and compare them with what was printed.

    Example: tundish selftest --only strd
    """
    from tundish.selftest import curves, page, report, runner

    if as_json and as_page:
        raise click.UsageError("--json and --page are two forms of one answer; take one of them")
    outcome = runner.run_all(only)
    if not outcome.cells:
        areas = sorted({case.table.split(".", 1)[0] for case in runner.all_cases()})
        raise click.BadParameter(
            f"no figure has an id that begins with {only!r}; ids begin with: {', '.join(areas)}",
            param_hint="--only",
        )
    if as_json:
        click.echo(json.dumps(report.as_json(outcome), ensure_ascii=False, indent=2))
    elif as_page:
        shown = (curve for curve in curves.CURVES if "curves".startswith(only[: len("curves")]))
        click.echo(page.as_page(outcome, map(curves.found_on, shown)), nl=False)
    else:
        click.echo(report.as_text(outcome, shutil.get_terminal_size().columns))
    if not outcome.passed:
        raise click.exceptions.Exit(FAILED)
