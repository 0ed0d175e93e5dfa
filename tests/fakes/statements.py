"""Counts what is asked of databases while something is done."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, event


@contextmanager
def counted() -> Iterator[Counter[str]]:
    """Count the statements that go through the toolkit inside the block, by their text."""
    found: Counter[str] = Counter()

    def note(_connection: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        found[statement] += 1

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield found
    finally:
        event.remove(Engine, "before_cursor_execute", note)
