"""Asking the daemon that runs on this machine for something."""

import getpass
import json
import os
import re
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import ProxyHandler, Request, build_opener

import click

from tundish.errors import DaemonRefusedError, DaemonUnreachableError

TIMEOUT_S = 30.0
"""Longer than the daemon waits for a line that does not stop. [s]"""

KEY_VARIABLE = "TUNDISH_KEY"
"""The environment variable that holds a key for a daemon that wants one (``api.keyless = false``)."""

_direct = build_opener(ProxyHandler({}))  # the daemon is on this machine, whatever proxy leads out of it


def asked(url: str) -> Any:
    """Return what a daemon answers. Raises `DaemonUnreachableError`."""
    return _answer(Request(url, headers=_key()))  # noqa: S310 - an http address on this machine


def ask(url: str, actor: str, body: dict[str, Any], timeout_s: float = TIMEOUT_S) -> Any:
    """Ask a daemon for an act and return its answer, for which it may take so long. [s]

    Raises
    ------
    DaemonUnreachableError
        If none answers.
    DaemonRefusedError
        If it refuses; the text holds every fault.
    """
    headers = {"Tundish-Actor": actor, "Content-Type": "application/json", **_key()}
    data = json.dumps(body).encode()
    return _answer(Request(url, data, headers, method="POST"), timeout_s)  # noqa: S310 - an http address on this machine


def _key() -> dict[str, str]:
    """Return the header with the key of this session, for a daemon that wants one even at its own machine."""
    key = os.environ.get(KEY_VARIABLE, "")
    return {"Authorization": f"Bearer {key}"} if key else {}


def _answer(request: Request, timeout_s: float = TIMEOUT_S) -> Any:
    url = request.full_url
    try:
        with _direct.open(request, timeout=timeout_s) as response:
            return json.load(response)
    except HTTPError as error:
        with error:
            raise DaemonRefusedError(_refusal(url, error)) from error
    except (URLError, OSError, ValueError) as error:
        raise DaemonUnreachableError(f"no daemon answers at {url}: {error}") from error


def _refusal(url: str, error: HTTPError) -> str:
    try:
        problem = json.load(error)
        faults = [f"{fault['parameter']}: {fault['detail']}" for fault in problem["errors"]]
        return "\n".join([str(problem["detail"]), *faults])
    except (ValueError, KeyError, TypeError):
        return f"{url} answered {error.code} {error.reason}; is another program serving there?"


def account() -> str:
    """Return the name of the account that runs this command, as an actor is written."""
    try:
        name = getpass.getuser()
    except (OSError, KeyError):
        name = ""
    return re.sub(r"[^A-Za-z0-9._@-]", "-", name).lstrip("._@-")[:32] or "unknown"


port_option = click.option(
    "--port", default=8710, show_default=True, help="Where the daemon serves on 127.0.0.1."
)
actor_option = click.option(
    "--actor", default=account, help="Who asks, for the ledger; by default this account."
)
