import pytest

from storage.store import Store
from tests.services.grounds import NewStore


@pytest.fixture
def store(new_store: NewStore) -> Store:
    return new_store("real")
