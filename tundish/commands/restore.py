"""``tundish restore``: put a checked copy back."""

from pathlib import Path

import click

from tundish.commands.verify import progress_bar


@click.command("restore")
@click.option("--replace", is_flag=True, help="Put a store that is there aside, as NAME.replaced.")
@click.argument("copy", type=click.Path(path_type=Path))
@click.argument("store", type=click.Path(path_type=Path))
def command(copy: Path, store: Path, *, replace: bool) -> None:
    """Verify every row of COPY, then put it in place as STORE; the daemon must be stopped.

    Example: tundish restore backups/cellar-20260115T170000Z.db cellar.db
    """
    from storage.backup import restore

    with progress_bar("verify the copy") as progress:
        verdict = restore(copy, store, replace=replace, progress=progress)
    click.echo(f"{store}: restored, {verdict.entries} ledger entries, head {verdict.head}")
