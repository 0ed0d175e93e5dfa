"""``tundish reload``: let the running daemon read its configuration again."""

import click

from tundish.commands.daemon_client import actor_option, ask, port_option


@click.command("reload")
@port_option
@actor_option
@click.option("--reason", help="Why, for the ledger.")
def command(port: int, actor: str, reason: str | None) -> None:
    """Let the running daemon read its configuration again; lines that did not change go on.

    Example: tundish reload --reason "second pH meter"
    """
    answer = ask(f"http://127.0.0.1:{port}/api/v1/reload", actor, {"reason": reason})
    parts = [
        f"{act}: {', '.join(answer[act])}"
        for act in ("added", "changed", "started", "removed")
        if answer[act]
    ]
    click.echo(f"configuration read again; {'; '.join(parts) or 'no line has changed'}")
