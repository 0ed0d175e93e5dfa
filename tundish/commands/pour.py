"""``tundish pour``: captured bytes through a driver, every byte accounted for; of a store, also applied."""

import json
from pathlib import Path

import click

from tundish.commands.daemon_client import actor_option


@click.command("pour")
@click.option("--driver", help="Name of a driver, or the path of a driver file.")
@click.option(
    "--stored-driver", type=int, help="Ledger number of a driver that the store knows, to go back to it."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    default="tundish.toml",
    show_default=True,
    help="The configuration that names the store, if no FILE is given.",
)
@click.option("--line", help="Pour the stored captures of this line.")
@click.option("--capture", type=click.IntRange(1), help="Pour this stored capture.")
@click.option(
    "--take-refused",
    is_flag=True,
    help="Take what was refused because so much else did not fit: it was the right instrument after all.",
)
@click.option("--apply", "is_applied", is_flag=True, help="Enter what differs as new versions of readings.")
@click.option("--reason", help="Why readings change; wanted with --apply.")
@actor_option
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False), required=False)
def command(
    *,
    driver: str | None,
    stored_driver: int | None,
    as_json: bool,
    config: Path,
    line: str | None,
    capture: int | None,
    take_refused: bool,
    is_applied: bool,
    reason: str | None,
    actor: str,
    file: Path | None,
) -> None:
    """Run the bytes of FILE through a driver and say what became of each; nothing is stored.

    Without a FILE, run stored captures of a line through it, and say which readings it finds otherwise than
    they stand. With --apply these are entered as new versions, by the daemon if one runs; the old ones stay
    readable, and applying the old driver brings them back.

    Example: tundish pour --driver so2-burette monday.bin --json

    Example: tundish pour --driver mended.toml --line so2 --apply --reason "the unit was wrong"
    """
    if (driver is None) == (stored_driver is None):
        raise click.UsageError("name the driver: by --driver, or one that the store knows by --stored-driver")
    if file is None:
        from tundish.commands.pour_store import pour_store

        if line is None and capture is None:
            raise click.UsageError("give a FILE, or say which stored captures by --line or --capture")
        if is_applied and not (reason or "").strip():
            raise click.UsageError("say why readings change by --reason; it stands in the ledger")
        body = {
            "driver": driver,
            "driver_id": stored_driver,
            "line": line,
            "capture_id": capture,
            "take_refused": take_refused,
        }
        pour_store(config, body, actor if is_applied else None, reason, as_json=as_json)
        return
    if is_applied or line is not None or capture is not None or driver is None:
        raise click.UsageError("a FILE is poured through a --driver and never stored; leave the FILE out")
    _pour_file(driver, file, as_json=as_json)


def _pour_file(driver: str, file: Path, *, as_json: bool) -> None:
    from acquire.pour import pour_file
    from acquire.registry import DriverRegistry

    factory = DriverRegistry().factory(driver)
    for event in pour_file(factory, file):
        click.echo(json.dumps(event, ensure_ascii=False) if as_json else in_words(event))


def in_words(event: dict[str, object]) -> str:
    """Return one event as a line for a person."""
    kind = event["kind"]
    if kind == "summary":
        counts = [f"{value} {key.replace('_', ' ')}" for key, value in event.items() if key != "kind"]
        return f"summary: {', '.join(counts)}"
    where = f"{event.get('offset', '')}+{event.get('length', '')}"
    if kind == "frame_read":
        readings = event["readings"]
        found = [reading_in_words(one) for one in readings] if isinstance(readings, list) else []
        return f"{where:>12}  read     {'; '.join(found) or 'no reading in it'}"
    if kind == "frame_refused":
        return f"{where:>12}  refused  {event['reason']}: {event['detail']}"
    return f"{where:>12}  {kind}  {event.get('detail', '')}".rstrip()


def reading_in_words(reading: dict[str, object]) -> str:
    """Return one reading as a person says it."""
    sample = f" of {reading['sample']}" if reading["sample"] else ""
    if reading["outcome"] == "value":
        return f"{reading['quantity']} {reading['text']} {reading['unit']}{sample}"
    return f"{reading['quantity']} {reading['outcome']} ({reading['text']}){sample}"
