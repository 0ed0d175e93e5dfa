"""The daemon: lines that hear, a writer that keeps, steps that take in, a server that shows, a clean end."""

import asyncio
import gc
from collections.abc import Callable, Coroutine
from contextlib import ExitStack
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path

import structlog

from acquire.clock import SystemClock
from acquire.supervisor import Supervisor
from storage.errors import WriterClosedError
from storage.file_place import FilePlace
from storage.ledger import ActorKind
from tundish.acts import By
from tundish.address_file import told_beside
from tundish.assembly import Parts, parts_of, services_of
from tundish.config import Config, load_config
from tundish.config_faults import ConfigError
from tundish.errors import TundishError, UnfinishedStopError
from tundish.line_book import LineBook
from tundish.loop import run
from tundish.network import network_server, refuse_unprotected
from tundish.notify import ServiceNotifier
from tundish.packages import check_packages
from tundish.publish_wiring import end_publishing, publish, publish_source, publisher_of
from tundish.signals import handled
from tundish.steps import Heart, drain, let_go_of_a_stuck_store, say_head, take_in
from tundish.store_sink import DAEMON
from tundish.web import bind, bind_network, server
from tundish.wiring import LinePlan, line_plans, store_of

HEARTBEAT_S = 1.0
"""How finely a crash is dated. [s]"""
CLOCK_EVERY_S = 1.0
"""How often the host's clock is compared with the steady one: how finely a step is dated. [s]"""
HEAD_EVERY_S = 86_400.0
"""How often the head of the ledger is written to the log. [s]"""
LET_GO_S = 5.0
"""How long a stop waits for a store that cannot be written. [s]"""
COLLECT_AFTER = (20_000, 20, 20)
"""How many objects more than were freed, then how many smaller collections, before one of each generation."""
READER_SILENT_S = 10.0
"""A reader thread that has not come round for so long is no longer alive. [s]"""

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a configuration comes from."""

    file: Path

    @property
    def folder(self) -> Path:
        """What relative paths count from."""
        return self.file.resolve().parent


class Daemon:
    """One run from start to stop."""

    def __init__(self, place: Place, notifier: ServiceNotifier) -> None:
        self._place = place
        self._notifier = notifier
        self._clock = SystemClock()
        self._stopping = asyncio.Event()
        self._reloads: set[asyncio.Task[None]] = set()

    def stop(self) -> None:
        """Begin to stop. From the event loop."""
        self._stopping.set()

    async def run(self, for_s: float | None = None) -> None:
        """Run until told to stop, or for a time. [s]

        Raises
        ------
        ConfigError, StorageError, TundishError
            If it cannot start; nothing is left running then.
        """
        check_packages()
        config, plans = self._configuration()
        with ExitStack() as stack:
            listener = stack.enter_context(bind(config.api.host, config.api.port))
            outer = stack.enter_context(bind_network(config.network)) if config.network else None
            store = store_of(config, self._place.folder, self._clock.utc_us)
            stack.callback(store.close)
            if config.network:
                refuse_unprotected(store, config.network, self._place.folder)
            if isinstance(store.place, FilePlace):
                stack.enter_context(told_beside(store.place.path, config.api.address))
            parts = parts_of(store, self._place.file, self._clock)
            stack.enter_context(handled(self.stop, lambda: self._reload(parts.book)))
            parts.book.open_all(config, plans)
            await asyncio.to_thread(import_module, "api.app")  # half of a start: lines are heard meanwhile
            from api.app import close_app, create_app, end_streams

            parts = replace(parts, publisher=publisher_of(config, self._place.folder, store, self._clock))
            app = create_app(services_of(parts, config, self._clock.utc_us))
            stack.callback(close_app, app)
            webs = [(server(app), listener)]
            if config.network and outer:
                webs.append((network_server(app, config.network, self._place.folder), outer))
            async with asyncio.TaskGroup() as tasks:
                serving = [tasks.create_task(web.serve(sockets=[place])) for web, place in webs]
                publishing = tasks.create_task(publish(parts.publisher), name="publish")
                others = [tasks.create_task(step) for step in self._steps(parts)]
                served = {"network": config.network.url} if config.network else {}
                log.info("daemon.started", address=f"{config.api.address}/", lines=len(plans), **served)
                _collect_seldom()
                self._notifier.ready()
                await self._until_stopped(for_s)
                self._notifier.stopping()
                async with asyncio.TaskGroup() as last_tasks:
                    letting_go = last_tasks.create_task(let_go_of_a_stuck_store(store.writer, LET_GO_S))
                    await self._end_hearing(parts, others)
                    unkept = await asyncio.to_thread(self._drain, parts)
                    await end_publishing(parts.publisher, publishing)
                    letting_go.cancel()
                end_streams(app)
                for web, _ in webs:
                    web.should_exit = True
                await asyncio.gather(*serving)
        _say_what_was_lost(parts.supervisor, unkept)
        log.info("daemon.stopped")

    def _configuration(self) -> tuple[Config, tuple[LinePlan, ...]]:
        """Return what the file says, with everything in it that can be checked before a start."""
        config = load_config(self._place.file)
        if config.publish is not None:
            publish_source(config.publish, self._place.folder, str(self._place.file))
        return config, line_plans(config, self._place.folder, str(self._place.file))

    def _steps(self, parts: Parts) -> list[Coroutine[None, None, None]]:
        return [
            take_in(parts.store, parts.intake),
            self._every(HEARTBEAT_S, Heart(parts.store, self._clock, parts.supervisor.kept_until_ns).beat),
            self._every(CLOCK_EVERY_S, parts.clock.look),
            self._every(HEAD_EVERY_S, lambda: say_head(parts.store)),
            self._watch(parts.supervisor),
        ]

    async def _every(self, interval_s: float, call: Callable[[], object]) -> None:
        while True:
            call()
            await self._clock.sleep(interval_s)

    async def _watch(self, supervisor: Supervisor) -> None:
        """Tell the service manager that we live, while every reader thread comes round."""
        interval_s = self._notifier.watchdog_interval_s
        while interval_s is not None:
            limit_ns = self._clock.monotonic_ns() - int(READER_SILENT_S * 1e9)
            if all(round_ns > limit_ns for round_ns in supervisor.thread_heartbeats.values()):
                self._notifier.alive()
            await self._clock.sleep(interval_s)

    async def _until_stopped(self, for_s: float | None) -> None:
        try:
            async with asyncio.timeout(for_s):
                await self._stopping.wait()
        except TimeoutError:
            log.info("daemon.time_is_up", ran_s=for_s)

    async def _end_hearing(self, parts: Parts, others: list[asyncio.Task[None]]) -> None:
        """Stop the readers and keep what they had heard; then the steps beside them."""
        await parts.book.close()
        await parts.supervisor.stop_all()
        for task in others:
            task.cancel()

    def _drain(self, parts: Parts) -> WriterClosedError | None:
        """Take in what is left and end the session; return why not, if the store could not be written."""
        try:
            drain(parts.store, parts.intake, self._clock.utc_us)
        except WriterClosedError as error:
            return error
        return None

    def _reload(self, book: LineBook) -> None:
        task = asyncio.get_running_loop().create_task(_reload(book), name="reload")
        self._reloads.add(task)
        task.add_done_callback(self._reloads.discard)


async def _reload(book: LineBook) -> None:
    """Bring the lines in step with the configuration; with a fault in it, nothing changes."""
    try:
        await book.reload(By(DAEMON, ActorKind.DAEMON, "a signal asked for it"))
    except (ConfigError, TundishError) as error:
        log.error("config.refused", why=str(error))  # noqa: TRY400 - a fault of the file, no traceback


def _say_what_was_lost(supervisor: Supervisor, unkept: WriterClosedError | None) -> None:
    """Raise `UnfinishedStopError` if the store could not be written until the end."""
    if unkept is None:
        return
    lost = {state.line: state.unkept_bytes + state.overflow_bytes for state in supervisor.states()}
    told = ", ".join(f"{size} bytes of {line}" for line, size in lost.items() if size) or "no bytes"
    raise UnfinishedStopError(f"stopped with a store that could not be written; lost: {told}. {unkept}")


def _collect_seldom() -> None:
    """Collect once, freeze what the start made, and look for rings of garbage less often from now on.

    Nearly all that hearing makes is freed as soon as it is kept; walking it again and again held every
    thread up.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)


def run_daemon(file: Path, for_s: float | None = None) -> None:
    """Run the daemon in this process until it is told to stop, or for a time. [s]"""

    async def main() -> None:
        await Daemon(Place(file), ServiceNotifier.from_environment()).run(for_s)

    run(main())
