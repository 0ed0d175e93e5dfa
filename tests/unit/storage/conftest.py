from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.store import Store
from tests.fakes.store_contents import Filled, fill_file, open_at_noon


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "cellar.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    store = open_at_noon(path)
    yield store
    store.close()


@pytest.fixture(scope="session")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that was made and closed, to be copied."""
    path = tmp_path_factory.mktemp("blank") / "blank.db"
    open_at_noon(path).close()
    return path


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Filled:
    """A closed store with something in every table; copy it before changing it."""
    return fill_file(tmp_path_factory.mktemp("filled") / "filled.db")


@pytest.fixture
def full(filled: Filled, path: Path) -> Iterator[Store]:
    """An open store with something in every table."""
    store = open_at_noon(filled.copy_to(path))
    yield store
    store.close()
