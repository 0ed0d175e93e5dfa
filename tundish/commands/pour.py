"""``tundish pour``: captured bytes through a driver, every byte accounted for."""

import json
from pathlib import Path

import click


@click.command("pour")
@click.option("--driver", required=True, help="Name of a driver, or the path of a driver file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
def command(driver: str, file: Path, *, as_json: bool) -> None:
    """Run the bytes of FILE through a driver and say what became of each; nothing is stored.

    Example: tundish pour --driver so2-burette monday.bin --json
    """
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
