"""A store for the tests of the wiring."""

import pytest

from storage.store import Store
from tests.services.grounds import NewStore

AT_US = 1_760_000_000_000_000
"""Some moment in October 2025. [µs since 1970 UTC]"""


@pytest.fixture
def store(new_store: NewStore) -> Store:
    return new_store("real", lambda: AT_US)
