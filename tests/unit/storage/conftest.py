from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.store import Store
from tests.fakes.store_contents import open_at_noon


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "cellar.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    store = open_at_noon(path)
    yield store
    store.close()
