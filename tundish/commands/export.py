"""``tundish export``: everything that a store holds, in open form."""

import json
from pathlib import Path

import click

from tundish.commands.verify import progress_bar


@click.command("export")
@click.option("--check", "is_check", is_flag=True, help="Read an exported FOLDER back instead.")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@click.argument("places", nargs=-1, required=True, metavar="[STORE] FOLDER")
def command(places: tuple[str, ...], *, is_check: bool, as_json: bool) -> None:
    """Write everything that STORE holds into a new FOLDER; the daemon may run.

    Rows as JSON Lines, the bytes of captures as files, readings and results as CSV, and the SHA-256 of each.
    With --check, FOLDER is read back: every checksum, and every row through the chain of the ledger.

    Hashes of pins and keys are in it: keep the folder as carefully as the store.

    Example: tundish export cellar.db cellar-2026
    """
    wanted = 1 if is_check else 2
    if len(places) != wanted:
        what = "one FOLDER with --check" if is_check else "STORE and FOLDER"
        raise click.UsageError(f"give {what}; {len(places)} came")
    if is_check:
        _check(Path(places[0]), as_json=as_json)
    else:
        _export(places[0], Path(places[1]), as_json=as_json)


def _export(store: str, folder: Path, *, as_json: bool) -> None:
    from storage.export import export
    from tundish.version import software_version

    with progress_bar("export") as progress:
        done = export(store, folder, software=f"tundish {software_version()}", progress=progress)
    if as_json:
        told = {"folder": str(folder), "head": str(done.head), "rows": done.rows}
        click.echo(json.dumps(told | {"captures": done.captures, "bytes": done.size_bytes}))
        return
    click.echo(
        f"{folder}: {done.rows} rows and {done.captures} streams of captures, {done.size_bytes} bytes, "
        f"ledger head {done.head}"
    )
    click.echo("It holds the hashes of pins and keys: keep it as carefully as the store.")


def _check(folder: Path, *, as_json: bool) -> None:
    from storage.export_check import check_export

    with progress_bar("check") as progress:
        found = check_export(folder, progress=progress)
    if as_json:
        click.echo(json.dumps({"folder": str(folder), "head": str(found.head), "rows": found.rows}))
        return
    click.echo(f"{folder}: {found.files} files, {found.rows} rows as they were written, head {found.head}")
