"""Acts at the store itself, where no daemon holds it: the first key and the first person of a machine."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from bench.actor import Actor
from bench.refused import RefusedError
from storage.ledger import ActorKind
from storage.transaction import Transaction
from tundish.config import load_config
from tundish.errors import RefusedActError
from tundish.version import software_version
from tundish.wiring import store_of

Answer = TypeVar("Answer")


def enter_at_store(
    config_file: Path, actor: str, work: Callable[[Transaction, Actor], Answer], reason: str | None = None
) -> Answer:
    """Open the store that a configuration names, run an act in it, and let it go; return the act's answer.

    Raises
    ------
    StoreBusyError
        If a daemon holds the store.
    RefusedActError
        If a rule refuses the act.
    """
    config = load_config(config_file)
    store = store_of(config, config_file.resolve().parent, now_us)
    by = Actor(actor, ActorKind.PERSON, now_us(), reason, software=f"tundish {software_version()}")
    try:
        return store.writer.submit(lambda tx: work(tx, by)).result()
    except RefusedError as refused:
        raise RefusedActError(refused.detail) from refused
    finally:
        store.close()


def now_us() -> int:
    """Return the time by the host's clock. [µs since 1970 UTC]"""
    return time.time_ns() // 1000
