"""``tundish backup``: a checked copy, entered in the store that it was made of."""

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from tundish.commands.daemon_client import actor_option

NOT_ENTERED = "the copy is good, but the store does not know of it: {why}"


@click.command("backup")
@click.argument("store", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
@actor_option
def command(store: Path, target: Path, actor: str) -> None:
    """Copy STORE to TARGET (a file, or a folder) in one step and check the copy; the daemon may run.

    That there is a copy is entered in the ledger of the store, by the daemon if one runs.

    Example: tundish backup cellar.db backups/
    """
    from storage.backup import backup
    from storage.errors import BackupError
    from storage.rows import BackupRow

    if store.parts[:1] and store.parts[0].startswith(("postgresql:", "postgres:")):
        raise BackupError(
            "a store on a server is copied by the server's own pg_dump while the daemon runs, or into a file "
            "by `tundish move` while it is stopped"
        )
    made_at_us = time.time_ns() // 1000
    if target.is_dir():
        moment = datetime.fromtimestamp(made_at_us / 1e6, UTC)
        target = target / f"{store.stem}-{moment:%Y%m%dT%H%M%SZ}.db"
    head = backup(store, target)
    click.echo(f"{target}: a good copy, ledger head {head}")
    row = BackupRow(str(target.resolve()), made_at_us, head.number, head.link, target.stat().st_size)
    click.echo(entered(store, row, actor), err=True)


def entered(store: Path, row: Any, actor: str) -> str:
    """Enter a copy in its store, or let the daemon that holds it do so; return in words what became of it."""
    from storage.backup_record import enter_backup
    from storage.errors import StorageError, StoreBusyError
    from tundish.errors import TundishError

    try:
        number = enter_backup(store, row, actor=actor, at_us=row.made_at_us)
    except StoreBusyError:
        try:
            number = told(store, row, actor)
        except TundishError as error:
            return NOT_ENTERED.format(why=error)
    except StorageError as error:
        return NOT_ENTERED.format(why=error)
    return f"entered in the ledger of {store} as number {number}"


def told(store: Path, row: Any, actor: str) -> int:
    """Tell the daemon that holds a store of a copy and return the number of its entry.

    Raises
    ------
    DaemonUnreachableError, DaemonRefusedError
        If it does not answer, or refuses.
    """
    from api.times import rfc3339
    from tundish.address_file import address_beside
    from tundish.commands.daemon_client import ask
    from tundish.errors import DaemonUnreachableError

    address = address_beside(store)
    if address is None:
        raise DaemonUnreachableError(f"the program that holds {store} does not say where it serves")
    body = {
        "file": row.file,
        "made_at": rfc3339(row.made_at_us),
        "head": f"{row.head_number}:{row.head_link.hex()}",
        "size_bytes": row.size_bytes,
    }
    number: int = ask(f"{address}/api/v1/backups", actor, body)["ledger_number"]
    return number
