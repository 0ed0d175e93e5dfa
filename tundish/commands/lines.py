"""``tundish lines``: ports of this machine, lines of the running daemon."""

import json
from typing import Any

import click

from tundish.commands.daemon_client import asked, port_option
from tundish.errors import DaemonRefusedError, DaemonUnreachableError


@click.command("lines")
@port_option
@click.option("--json", "as_json", is_flag=True, help="For a program.")
def command(port: int, *, as_json: bool) -> None:
    """List the serial ports of this machine with their identity, and the lines of a running daemon.

    Example: tundish lines
    """
    ports = machine_ports()
    lines = daemon_lines(port)
    if as_json:
        click.echo(json.dumps({"ports": ports, "lines": lines}, ensure_ascii=False, indent=2))
        return
    click.echo("ports of this machine" if ports else "this machine shows no serial ports")
    for one in ports:
        click.echo(f"  {one['device']}  {one['description']}")
        if one["usb"]:
            click.echo(f"      usb = {one['usb']}")
    answer = "no daemon answers" if lines is None else "lines of the daemon"
    click.echo(f"\n{answer} at port {port}")
    for line in lines or []:
        why = f": {line['why']}" if line["why"] else ""
        click.echo(
            f"  {line['line']}  {line['state']}  {line['device']}  {line['frames_read']} frames read, "
            f"{line['frames_refused']} refused{why}"
        )


def machine_ports() -> list[dict[str, str]]:
    """Return the serial ports that the system knows, with what to write into a configuration."""
    from serial.tools import list_ports

    return [
        {"device": one.device, "description": one.description or "", "usb": usb_table(one)}
        for one in sorted(list_ports.comports())
    ]


def usb_table(port: Any) -> str:
    """Return the ``usb`` value for the configuration; empty if the port is on no USB adapter."""
    if port.vid is None:
        return ""
    parts = [f"vid = 0x{port.vid:04x}", f"pid = 0x{port.pid:04x}"]
    parts += [f'serial = "{port.serial_number}"'] if port.serial_number else []
    parts += [f'location = "{port.location}"'] if port.location and not port.serial_number else []
    return "{ " + ", ".join(parts) + " }"


def daemon_lines(port: int) -> list[dict[str, Any]] | None:
    """Return the lines of the daemon that serves at a port of this machine; None if none answers."""
    try:
        answer = asked(f"http://127.0.0.1:{port}/api/v1/lines")
    except (DaemonUnreachableError, DaemonRefusedError):
        return None
    items: list[dict[str, Any]] = answer["items"]
    return items
