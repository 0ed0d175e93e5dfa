"""Bodies of health: the daemon, its store, its clock."""

from pydantic import Field

from api.schemas.common import Body, UtcTime
from api.schemas.lines import optional_time
from api.services import HealthReport, PublishReport
from api.times import rfc3339
from api.vitals import Vitals
from storage.queries import ClockEventRecord
from storage.queries.publishing import OutboxRecord, RefusedRecord


class StoreHealth(Body):
    """How the store and the queue before it are doing."""

    kind: str = Field(description="real, demo or practice.", examples=["demo"])
    ok: bool = Field(description="False while the store cannot be written.")
    why: str = Field(description="Why it cannot, in plain words; empty while it can.")
    head: int = Field(description="Newest ledger number.", ge=0)
    spool_items: int = Field(description="Pieces of work that wait for the store.", ge=0)
    spool_bytes: int = Field(description="What they hold. [bytes]", ge=0)
    spool_limit_bytes: int = Field(description="What they may hold before bytes are lost. [bytes]", ge=0)
    disk_free_bytes: int | None = Field(description="On the disk of the store. [bytes]")
    last_backup_at: UtcTime | None = Field(description="When the newest checked copy was made; null if none.")
    last_backup_age_s: float | None = Field(description="How old it is. [s]", ge=0)
    backup_due: bool = Field(description="Whether a real store has no copy of the last seven days.")


class ClockStep(Body):
    """The host's clock was put forward or back."""

    at: UtcTime = Field(description="By the clock after it.")
    by_s: float = Field(description="Forward is positive. [s]")
    why: str = Field(description="In plain words.")


class ClockHealth(Body):
    """How far the host's clock can be trusted."""

    quality: str = Field(description="in_step, not_in_step or unknown.", examples=["in_step"])
    why: str = Field(description="By what it is kept in step, or why not, in plain words.")
    max_error_s: float | None = Field(description="How far it may be off; null where nobody says. [s]", ge=0)
    last_step: ClockStep | None = Field(description="The newest step in this store; null if there was none.")


class RefusedBody(Body):
    """A message that the broker refused; it is kept and tried again."""

    sequence: int = Field(description="Its number in the row of all messages.", ge=1)
    revision: int = Field(description="The entry of the ledger that it tells of.", ge=1)
    topic: str
    why: str = Field(description="In the broker's words.", examples=["not authorized"])
    refused_at: UtcTime = Field(description="When it was first refused.")
    attempts: int = Field(description="How often it was tried.", ge=1)


class PublishHealth(Body):
    """How publishing to a broker is doing, and what waits for it."""

    broker: str = Field(examples=["mqtts://broker.example:8883/tundish/north-cellar/v1/status"])
    state: str = Field(description="connecting, online, waiting or stopped.", examples=["online"])
    since: UtcTime = Field(description="When the state began.")
    why: str = Field(description="Why it waits, in plain words; empty while all is well.")
    last_taken_at: UtcTime | None = Field(description="When the broker last took a message; null if not yet.")
    waiting: int = Field(description="Messages that wait, counted up to 100 000.", ge=0)
    oldest_age_s: float | None = Field(
        description="How long the first of them waits; null if none. [s]", ge=0
    )
    refused: int = Field(description="Messages that the broker refused and that are kept for it.", ge=0)
    captures_waiting: int | None = Field(
        description="Pieces of captures that wait, counted up to 100 000; null if captures are not published."
    )
    oldest_capture_age_s: float | None = Field(
        description="How long the first of them waits; null if none. [s]", ge=0
    )
    first_refused: list[RefusedBody] = Field(description="The oldest of those, up to ten.")


class HealthBody(Body):
    """How the daemon is doing.

    `ok` if the store is written, no line is lost or failed, and what is to be published is taken.
    """

    ok: bool
    version: str = Field(description="Of the program.", examples=["0.1.0"])
    now: UtcTime = Field(description="The host's clock.")
    clock: ClockHealth
    store: StoreHealth
    publishing: PublishHealth | None = Field(description="Null if nothing is published.")
    lines_open: int = Field(ge=0)
    lines_not_open: list[str] = Field(
        description="Names of the lines that are lost, failed or not recognised."
    )


def store_health(report: HealthReport, vitals: Vitals, kind: str, now_us: int) -> StoreHealth:
    """Return the body of the store's health. `now_us` since 1970 UTC. [µs]"""
    age_us = vitals.backup_age_us(now_us)
    return StoreHealth(
        kind=kind,
        ok=report.store_ok,
        why=report.store_why,
        head=vitals.head,
        spool_items=report.spool_items,
        spool_bytes=report.spool_bytes,
        spool_limit_bytes=report.spool_limit_bytes,
        disk_free_bytes=report.disk_free_bytes,
        last_backup_at=optional_time(vitals.last_backup.made_at_us if vitals.last_backup else None),
        last_backup_age_s=None if age_us is None else age_us / 1e6,
        backup_due=vitals.backup_is_due(now_us, kind),
    )


def is_published(report: PublishReport | None, outbox: OutboxRecord) -> bool:
    """Tell whether nobody need look after publishing."""
    return report is None or (report.state in {"connecting", "online"} and not outbox.refused)


def publish_health(report: PublishReport | None, outbox: OutboxRecord, now_us: int) -> PublishHealth | None:
    """Return the body of the health of publishing; None if nothing is published. [µs since 1970 UTC]"""
    if report is None:
        return None
    return PublishHealth(
        broker=report.broker,
        state=report.state,
        since=rfc3339(report.since_us),
        why=report.why,
        last_taken_at=optional_time(report.last_taken_us),
        waiting=outbox.waiting,
        oldest_age_s=_age_s(outbox.oldest_us, now_us),
        refused=outbox.refused,
        captures_waiting=(outbox.pieces or 0) if report.captures else None,
        oldest_capture_age_s=_age_s(outbox.oldest_piece_us, now_us) if report.captures else None,
        first_refused=[_refused_body(one) for one in outbox.first_refused],
    )


def _age_s(at_us: int | None, now_us: int) -> float | None:
    return None if at_us is None else max(0, now_us - at_us) / 1e6


def _refused_body(record: RefusedRecord) -> RefusedBody:
    return RefusedBody(
        sequence=record.sequence,
        revision=record.due.number,
        topic=record.topic,
        why=record.why,
        refused_at=rfc3339(record.refused_at_us),
        attempts=record.attempts,
    )


def clock_health(report: HealthReport, vitals: Vitals) -> ClockHealth:
    """Return the body of the clock's health."""
    error_us = report.clock_max_error_us
    return ClockHealth(
        quality=report.clock_quality,
        why=report.clock_why,
        max_error_s=None if error_us is None else error_us / 1e6,
        last_step=None if vitals.last_step is None else _step(vitals.last_step),
    )


def _step(event: ClockEventRecord) -> ClockStep:
    return ClockStep(at=rfc3339(event.at_us), by_s=(event.step_us or 0) / 1e6, why=event.why)
