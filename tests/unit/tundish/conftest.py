"""A store for the tests of the wiring."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.store import Store, open_store

AT_US = 1_760_000_000_000_000
"""Some moment in October 2025. [µs since 1970 UTC]"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path / "store.db", kind="real", clock_us=lambda: AT_US)
    yield opened
    opened.close()
