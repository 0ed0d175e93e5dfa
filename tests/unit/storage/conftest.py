from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from storage.store import Store
from tests.fakes.store_contents import Filled, fill, fill_file, open_at_noon
from tests.services.grounds import Ground, NewGround


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a file may be, for tests of files alone."""
    return tmp_path / "cellar.db"


@pytest.fixture(scope="session")
def on_file(tmp_path_factory: pytest.TempPathFactory) -> Filled:
    """A closed store in a file with something in every table; copy it before changing it."""
    return fill_file(tmp_path_factory.mktemp("filled") / "filled.db")


@pytest.fixture(scope="session")
def blank(blank_of: Callable[[str], Ground]) -> Ground:
    """A store that was made and closed, to be copied."""
    return blank_of("real")


@pytest.fixture
def ground(blank: Ground) -> Iterator[Ground]:
    """A store that was made and closed, for one test."""
    ground = blank.copy()
    yield ground
    ground.remove()


@pytest.fixture
def store(ground: Ground) -> Iterator[Store]:
    store = open_at_noon(ground)
    yield store
    store.close()


@pytest.fixture(scope="session")
def filled(new_ground: NewGround) -> Filled:
    """A closed store with something in every table; copy its ground before changing it."""
    return fill(new_ground())


@pytest.fixture
def full(filled: Filled) -> Iterator[Store]:
    """An open store with something in every table."""
    ground = filled.ground.copy()
    store = open_at_noon(ground)
    yield store
    store.close()
    ground.remove()
