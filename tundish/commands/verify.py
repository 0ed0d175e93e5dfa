"""``tundish verify``: walk the ledger."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

BAD_STORE = 1
"""Exit code when a row is not as it was written."""


@contextmanager
def progress_bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far a walk has come, on standard error."""
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


@click.command("verify")
@click.option("--head", "written", help="A head that was written down before, as NUMBER:LINK.")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@click.argument("store")
def command(store: str, written: str | None, *, as_json: bool) -> None:
    """Walk the ledger of STORE and name the first row that is not as it was written; the daemon may run.

    STORE is a file, or postgresql://USER@HOST/DATABASE.

    Looks at the triggers too that keep rows as they were written. Exit code 1 if anything is not in order.

    Example: tundish verify cellar.db --head 1234:9f2c…
    """
    from storage.checking import verify_store
    from storage.ledger import Head
    from storage.place import place_of

    try:
        expected = Head.parse(written) if written else None
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--head") from error
    place = place_of(store)
    with progress_bar("verify") as progress:
        verdict = verify_store(place, expected=expected, progress=progress)
    bad = verdict.first_bad
    if as_json:
        told = {"in_order": verdict.in_order, "entries": verdict.entries, "head": str(verdict.head)}
        told |= {"first_bad": None if bad is None else str(bad), "guard_faults": list(verdict.guard_faults)}
        click.echo(json.dumps(told))
    elif bad is None:
        how = "in order" if verdict.in_order else "every row is as it was written"
        click.echo(f"{place}: {how}, {verdict.entries} entries, head {verdict.head}")
    else:
        click.echo(f"{place}: not in order after {verdict.entries} good entries. First bad row: {bad}")
    if verdict.guard_faults and not as_json:
        click.echo(
            f"{place}: not guarded as it should be: {'; '.join(verdict.guard_faults)}. "
            "Find out who changed it; the daemon makes them anew at its next start and says so in the ledger"
        )
    if not verdict.in_order:
        raise click.exceptions.Exit(BAD_STORE)
