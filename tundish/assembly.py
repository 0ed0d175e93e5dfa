"""The parts of a running daemon, made for one store and knowing each other."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from acquire.clock import Clock
from acquire.doctor.ward import Ward
from acquire.supervisor import Supervisor
from acquire.turns import ApartWhileSlow
from api.services import ApiSettings, Services
from bench.intake import Intake
from bench.runs import RunWatch
from evaluate.units import quantities
from storage.queries import last_alive_us
from storage.store import Store
from tundish.acts import ActRecord
from tundish.api_control import BookControl, RecordOfActs
from tundish.clock_watch import ClockWatch
from tundish.config import Config
from tundish.doctor import DaemonDoctor
from tundish.health import Health, Lines
from tundish.host_clock import judge, read_clocks
from tundish.learner import DaemonLearner
from tundish.line_book import LineBook
from tundish.pours import DaemonPours
from tundish.store_sink import DAEMON, StoreSink
from tundish.version import software_version
from tundish.wiring import far_lines, known_drivers, transports

if TYPE_CHECKING:
    from tundish.publisher import Publisher


@dataclass(frozen=True, slots=True)
class Parts:
    """What one run of the daemon is made of."""

    store: Store
    supervisor: Supervisor
    book: LineBook
    intake: Intake
    acts: ActRecord
    clock: ClockWatch
    doctor: DaemonDoctor
    publisher: "Publisher | None" = None
    """None if nothing is published."""


def parts_of(store: Store, config_file: Path, clock: Clock) -> Parts:
    """Begin a session on a store and return the parts that live in it."""
    watch = ClockWatch(store.writer, read_clocks, judge)
    session = _begin_session(store, watch, clock.utc_us())
    sink = StoreSink(store.writer, session, known_drivers(store))
    ward = Ward()
    watched = ward.before(sink)
    supervisor = Supervisor(
        watched,
        clock,
        make_transport=transports(store, clock),
        make_far=far_lines(store, watched, clock),
        make_turns=ApartWhileSlow,
        on_change=ward.changed,
    )
    acts = ActRecord(store.writer, clock.utc_us)
    book = LineBook(config_file, supervisor, acts)
    doctor = DaemonDoctor(ward, supervisor, clock)
    intake = Intake(store, clock.utc_us, DAEMON, runs=RunWatch(store, clock.utc_us, DAEMON))
    return Parts(
        store,
        supervisor,
        book,
        intake,
        acts,
        watch,
        doctor,
    )


def _begin_session(store: Store, clock: ClockWatch, at_us: int) -> int:
    """Enter that a run begins, and with which clock; return its number."""
    with store.reader() as connection:
        alive_us = last_alive_us(connection)
    said = clock.judgement
    session = store.begin_session(software_version(), f"{said.quality.value}: {said.why}", at_us)
    clock.begin(session, alive_us)
    return session


def api_settings(config: Config) -> ApiSettings:
    """Return what the configuration says of the API."""
    network = config.network
    return ApiSettings(
        config.store.kind,
        (*config.api.allowed_hosts, *(network.host_names if network else ())),
        loopback_open=config.api.keyless,
        network_open=network is not None and network.without_keys,
        audit_reads=config.api.audit_reads,
    )


def services_of(parts: Parts, config: Config, clock_us: Callable[[], int]) -> Services:
    """Return what the API stands on."""
    return Services(
        store=parts.store,
        commits=parts.store.writer,
        lines=Lines(parts.supervisor),
        line_control=BookControl(parts.book),
        acts=RecordOfActs(parts.acts),
        health=Health(parts.store, parts.clock, parts.publisher),
        doctor=parts.doctor,
        learner=DaemonLearner(),
        pours=DaemonPours(parts.store, clock_us),
        settings=api_settings(config),
        clock_us=clock_us,
        quantity_names={one.code: one.name for one in quantities()},
    )
