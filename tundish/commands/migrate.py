"""``tundish migrate``: the tables of a store, by whoever owns them."""

import click


@click.command("migrate")
@click.option("--writer", help="The role of the daemon: it may add rows and look, and change nothing.")
@click.option("--reader", "readers", multiple=True, help="A role that may look; may be given several times.")
@click.argument("store")
def command(store: str, writer: str | None, readers: tuple[str, ...]) -> None:
    """Bring the tables of STORE up to date; with --writer, give the roles of its server their rights.

    STORE is postgresql://OWNER@HOST/DATABASE, or a file. The daemon must be stopped. A daemon whose own role
    owns the tables, and every daemon on a file, does this by itself as it starts.

    Example: tundish migrate postgresql://tundish_owner@db/cellar --writer tundish --reader lab
    """
    from storage.migrate import migrate

    if readers and writer is None:
        raise click.UsageError("--reader wants --writer too: the rights are given together")
    version = migrate(store, writer=writer, readers=readers)
    said = "" if writer is None else f"; {writer} may write, {', '.join(readers) or 'nobody else'} may look"
    click.echo(f"schema {version}{said}")
