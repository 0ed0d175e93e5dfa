"""The newest released result of a lot or a sample in one quantity, for a single cell."""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from storage.csv_text import current
from storage.schema import record, record_link, release, result


@dataclass(frozen=True, slots=True)
class OneValue:
    """A result as it stands now."""

    result_id: int
    revision: int
    sample: str
    quantity: str
    outcome: str
    numeral: str | None
    unit: str
    basis: str | None
    standing: str | None
    at_us: int
    """[µs]"""


def record_named(connection: Connection, kind: str, code: str) -> int | None:
    """Return the id of a lot or sample; None if there is none of that code."""
    query = select(record.c.record_id).where(record.c.kind == kind, record.c.code == code).limit(1)
    return connection.execute(query).scalar_one_or_none()


def newest_value(
    connection: Connection,
    quantity: str,
    *,
    lot_id: int | None = None,
    sample_id: int | None = None,
    method: str | None = None,
    at_us: int | None = None,
) -> OneValue | None:
    """Return the newest released result, measured at a moment or before if one is given. [µs]"""
    query = (
        current.standing_now()
        .add_columns(
            result.c.number,
            current.revision,
            current.code_of(current.sample_id),
            result.c.quantity,
            current.outcome,
            current.numeral,
            result.c.unit,
            result.c.basis,
            current.standing_word,
            result.c.at_us,
        )
        .where(result.c.quantity == quantity, current.newest(release.c.mark, release) == "released")
    )
    if sample_id is not None:
        query = query.where(current.of_samples(lambda sample: sample == sample_id))
    if lot_id is not None:
        samples = select(record_link.c.record_id).where(
            record_link.c.target_id == lot_id, record_link.c.role == "lot"
        )
        query = query.where(
            current.of_samples(lambda sample: sample.in_(samples)), current.lot_id() == lot_id
        )
    if method is not None:
        query = query.where(current.code_of(result.c.method_id) == method)
    if at_us is not None:
        query = query.where(result.c.at_us <= at_us)
    newest = query.order_by(result.c.at_us.desc(), result.c.number.desc()).limit(1)
    row = connection.execute(newest).one_or_none()
    return None if row is None else OneValue(*row)
