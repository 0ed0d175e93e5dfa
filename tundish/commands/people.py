"""``tundish people``: the first person of a machine without a screen."""

from pathlib import Path
from typing import Any

import click

from tundish.commands.daemon_client import actor_option
from tundish.commands.options import config_option

ROLES = ("operator", "reviewer", "manager")


@click.group("people")
def command() -> None:
    """Enter people at the store itself, while no daemon holds it; the daemon does it over REST.

    Example: tundish people add AB --name "A. Bench" --role manager
    """


@command.command("add")
@click.argument("initials")
@click.option("--name", default="", help="Their name.")
@click.option(
    "--role", "roles", type=click.Choice(ROLES), multiple=True, default=("operator",), show_default=True
)
@click.option("--pin", "wants_pin", is_flag=True, help="Ask for a pin of 4 to 8 digits, twice, unseen.")
@actor_option
@config_option
def add(initials: str, name: str, roles: tuple[str, ...], actor: str, file: Path, *, wants_pin: bool) -> None:
    """Enter the person INITIALS; with --pin, give them their pin.

    Example: tundish people add AB --name "A. Bench" --role manager --pin
    """
    from bench.actor import Actor
    from bench.people import prepare_pin, set_pin
    from bench.records import make
    from bench.refused import RefusedError
    from storage.transaction import Transaction
    from tundish.at_the_store import enter_at_store
    from tundish.errors import RefusedActError

    prepared = None
    if wants_pin:
        try:
            prepared = prepare_pin(click.prompt("Pin", hide_input=True, confirmation_prompt=True))
        except RefusedError as refused:
            raise RefusedActError(refused.detail) from refused

    def work(tx: Transaction, by: Actor) -> int:
        fields: dict[str, Any] = {"name": name, "roles": list(roles)}
        made = make(tx, by, "person", initials, fields, valid_from_us=by.at_us)
        if prepared is not None:
            set_pin(tx, by, initials, prepared)
        return made

    enter_at_store(file, actor, work)
    click.echo(f"{initials} is entered as {', '.join(roles)}" + (" with a pin" if prepared else ""))
