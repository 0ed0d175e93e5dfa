"""``tundish move``: the same store at another place."""

from pathlib import Path

import click

from tundish.commands.verify import progress_bar


@click.command("move")
@click.option("--to", "target", required=True, help="postgresql://USER@HOST/DATABASE, or a new file.")
@click.option("--from", "source", help="The store; without it, the one that the configuration names.")
@click.option(
    "--config",
    "file",
    type=click.Path(path_type=Path),
    default=Path("tundish.toml"),
    show_default=True,
    help="The configuration file.",
)
def command(target: str, source: str | None, file: Path) -> None:
    """Copy a store to another place, row for row, and verify every row there; the daemon must be stopped.

    The old store stays as it is. Killed in the middle, the same command goes on where it was. A place that
    holds another store is refused.

    Example: tundish move --to postgresql://tundish@db/cellar
    """
    from storage.move import move
    from storage.place import place_of

    address = source if source is not None else _configured(file)
    place = place_of(target)
    with progress_bar("copy") as copied, progress_bar("verify the copy") as verified:
        moved = move(address, place, copied=copied, verified=verified)
    if moved.begun_at:
        click.echo(f"went on after ledger number {moved.begun_at}")
    for table, count in moved.counts.items():
        if count:
            click.echo(f"  {table}: {count}")
    click.echo(f"{place}: the same store, ledger head {moved.head}")
    click.echo(
        "Name it under [store] in the configuration, start the daemon, and keep the old one as a backup."
    )


def _configured(file: Path) -> Path | str:
    from tundish.config import load_config
    from tundish.store_address import store_address

    return store_address(load_config(file).store, file.resolve().parent)
