"""Column types that mean the same on SQLite and on PostgreSQL."""

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import BigInteger, Dialect, Double, Integer, LargeBinary, Text
from sqlalchemy.dialects.postgresql import TIMESTAMP
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import TypeDecorator, TypeEngine

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND: Final = timedelta(microseconds=1)


class UtcMicroseconds(TypeDecorator[int]):
    """A moment: whole microseconds since 1970-01-01T00:00:00Z in Python. [µs]

    SQLite keeps the integer, PostgreSQL a ``timestamptz``. Anything but an integer is refused, because a
    `datetime` would lose its offset on the way into SQLite without a word.
    """

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Choose the column type of one database."""
        if dialect.name == "postgresql":
            return dialect.type_descriptor(TIMESTAMP(timezone=True))
        return dialect.type_descriptor(Integer())

    def process_bind_param(self, value: int | None, dialect: Dialect) -> object:
        """Turn microseconds into what the database keeps."""
        if value is None:
            return None
        if not isinstance(value, int):
            raise TypeError(f"a time must be whole microseconds since 1970 UTC, not {value!r}")
        return EPOCH + value * MICROSECOND if dialect.name == "postgresql" else value

    def process_result_value(
        self,
        value: object,
        dialect: Dialect,  # noqa: ARG002 - the signature is SQLAlchemy's
    ) -> int | None:
        """Turn what the database keeps into microseconds."""
        if isinstance(value, datetime):
            return (value - EPOCH) // MICROSECOND
        return value if isinstance(value, int) else None


def big_integer() -> TypeEngine[int]:
    """Return a 64-bit integer that SQLite takes as its row number where it is the primary key."""
    return BigInteger().with_variant(Integer(), "sqlite")


def real() -> TypeEngine[float]:
    """Return a double under the name that strict SQLite tables allow."""
    return Double().with_variant(REAL(), "sqlite")


def text() -> TypeEngine[str]:
    """Return text without a length limit, ordered by its bytes whatever language the server speaks."""
    return Text().with_variant(Text(collation="C"), "postgresql")


def binary() -> TypeEngine[bytes]:
    """Return bytes."""
    return LargeBinary()
