"""From what a configuration says of publishing to a publisher; the library of brokers is loaded only then."""

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Final

from acquire.clock import Clock
from acquire.config import MqttSource
from storage.store import Store
from tundish.config import Config
from tundish.config_faults import ConfigError
from tundish.errors import PasswordError
from tundish.publish_config import PublishConfig
from tundish.sources import broker_source

if TYPE_CHECKING:
    from tundish.publisher import Publisher

STOP_LIMIT_S: Final = 5.0
"""How long a stop waits for a broker. [s]"""


def publish_source(publish: PublishConfig, folder: Path, source: str = "configuration") -> MqttSource:
    """Return the status topic of a site at its broker; paths count from `folder`.

    Raises
    ------
    ConfigError
        If the password cannot be had.
    """
    try:
        topic = f"{publish.root}/{publish.site}/v1/status"
        return broker_source(publish, topic, f"tundish-{publish.site}", folder)
    except PasswordError as error:
        raise ConfigError(source, [f"publish.{error}"]) from error


def publisher_of(config: Config, folder: Path, store: Store, clock: Clock) -> "Publisher | None":
    """Return what publishes a store as the configuration says; None if it says nothing of that."""
    if config.publish is None:
        return None
    from tundish.capture_outbox import CaptureOutbox
    from tundish.outbox import LedgerOutbox
    from tundish.publish_messages import Sender
    from tundish.publisher import Outbox, Publisher

    publish = config.publish
    sender = Sender(publish.root, publish.site, store.info.store_id, store.info.kind)
    source = publish_source(publish, folder)
    outboxes: list[Outbox] = [LedgerOutbox(store, sender, clock, from_beginning=publish.from_beginning)]
    if publish.captures:
        outboxes.append(CaptureOutbox(store, sender, clock))
    return Publisher(store.writer, source, sender, outboxes, clock=clock, captures=publish.captures)


async def publish(publisher: "Publisher | None") -> None:
    """Publish, where there is anybody to do it."""
    if publisher is not None:
        await publisher.run()


async def end_publishing(publisher: "Publisher | None", task: "asyncio.Task[None]") -> None:
    """Let a publisher take its leave of the broker, in finite time."""
    if publisher is not None:
        publisher.stop()
    await asyncio.wait({task}, timeout=STOP_LIMIT_S)
    task.cancel()
