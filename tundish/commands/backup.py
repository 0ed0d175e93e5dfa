"""``tundish backup``: a checked copy."""

from datetime import UTC, datetime
from pathlib import Path

import click


@click.command("backup")
@click.argument("store", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
def command(store: Path, target: Path) -> None:
    """Copy STORE to TARGET (a file, or a folder) in one step and check the copy; the daemon may run.

    Example: tundish backup cellar.db backups/
    """
    from storage.backup import backup
    from storage.errors import BackupError

    if store.parts[:1] and store.parts[0].startswith(("postgresql:", "postgres:")):
        raise BackupError(
            "a store on a server is copied by the server's own pg_dump while the daemon runs, or into a file "
            "by `tundish move` while it is stopped"
        )
    if target.is_dir():
        target = target / f"{store.stem}-{datetime.now(UTC):%Y%m%dT%H%M%SZ}.db"
    head = backup(store, target)
    click.echo(f"{target}: a good copy, ledger head {head}")
