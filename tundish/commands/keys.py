"""``tundish keys``: keys for programs and for the network, by the daemon or at the store itself."""

import json
from pathlib import Path
from typing import Any

import click

from tundish.commands.daemon_client import actor_option, ask, asked
from tundish.commands.options import config_option

SCOPES = ("read", "bench", "manage")


@click.group("keys")
def command() -> None:
    """Make, list and revoke keys: by the running daemon, or at the store itself where none runs.

    Example: tundish keys add must-sheet --scope read
    """


@command.command("add")
@click.argument("name")
@click.option(
    "--scope",
    type=click.Choice(SCOPES),
    default="read",
    show_default=True,
    help="read; bench: also act at the bench; manage: everything.",
)
@click.option("--reason", help="Why, in words; it stands in the ledger.")
@actor_option
@config_option
def add(name: str, scope: str, reason: str | None, actor: str, file: Path) -> None:
    """Make the key NAME and print it, this once; only its hash is kept.

    Example: tundish keys add must-sheet --scope read
    """
    made = _made(file, actor, name, scope, reason)
    click.echo(f"key {made['number']} ({name}, {scope}), shown this once: keep it well", err=True)
    click.echo(made["key"])


def _made(file: Path, actor: str, name: str, scope: str, reason: str | None) -> dict[str, Any]:
    import re

    from api.keys import NAME_PATTERN, Scope, add_key, key_hash, new_key
    from storage.errors import StoreBusyError
    from tundish.at_the_store import enter_at_store

    if re.fullmatch(NAME_PATTERN, name) is None:
        raise click.UsageError(f"{name!r} cannot be a name; give up to 32 letters, digits, dots, dashes")
    key = new_key()
    try:
        number = enter_at_store(
            file, actor, lambda tx, by: add_key(tx, by, name, Scope(scope), key_hash(key)), reason
        )
    except StoreBusyError:
        body = {"name": name, "scope": scope, "reason": reason}
        made: dict[str, Any] = ask(f"{_daemon(file)}/api/v1/keys", actor, body)
        return made
    return {"number": number, "key": key}


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="For a program.")
@config_option
def list_command(file: Path, *, as_json: bool) -> None:
    """List every key with its number and what it may do; the keys themselves are kept nowhere.

    Example: tundish keys list
    """
    found = _listed(file)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
        return
    for one in found:
        state = f"revoked {one['revoked_at'][:19]}Z by {one['revoked_by']}" if one["revoked_at"] else "good"
        click.echo(
            f"{one['number']:>8}  {one['name']:<32}  {one['scope']:<6}  made {one['made_at'][:19]}Z by "
            f"{one['made_by']}  {state}"
        )
    if not found:
        click.echo("there is no key; make one with: tundish keys add NAME --scope read", err=True)


def _listed(file: Path) -> list[dict[str, Any]]:
    from api.parameters import LARGEST
    from api.schemas.keys import key_body
    from storage.errors import StoreBusyError
    from storage.queries.keys import keys_before
    from tundish.at_the_store import enter_at_store

    try:
        records = enter_at_store(
            file, "tundish", lambda tx, _by: keys_before(tx.connection, before=LARGEST, limit=1000)
        )
    except StoreBusyError:
        answer = asked(f"{_daemon(file)}/api/v1/keys?limit=1000")
        items: list[dict[str, Any]] = answer["items"]
        return items
    return [key_body(one).model_dump(mode="json") for one in records]


@command.command("revoke")
@click.argument("number", type=click.IntRange(min=1))
@click.option("--reason", help="Why, in words; it stands in the ledger.")
@actor_option
@config_option
def revoke(number: int, reason: str | None, actor: str, file: Path) -> None:
    """End key NUMBER at once and for ever.

    Example: tundish keys revoke 17 --reason "the sheet moved to another computer"
    """
    from api.keys import revoke_key
    from storage.errors import StoreBusyError
    from tundish.at_the_store import enter_at_store

    try:
        enter_at_store(file, actor, lambda tx, by: revoke_key(tx, by, number), reason)
    except StoreBusyError:
        ask(f"{_daemon(file)}/api/v1/keys/{number}/revoke", actor, {"reason": reason})
    click.echo(f"key {number} is no longer good")


def _daemon(file: Path) -> str:
    """Return where the daemon of a configuration serves this machine."""
    from tundish.config import load_config

    return load_config(file).api.address
