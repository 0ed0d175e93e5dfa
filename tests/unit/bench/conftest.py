from collections.abc import Iterator
from pathlib import Path
from shutil import copy

import pytest

from storage.store import Store
from tests.fakes.store_contents import open_at_noon


@pytest.fixture(scope="session")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that was made and closed, to be copied: making its tables takes longer than a test."""
    path = tmp_path_factory.mktemp("blank") / "blank.db"
    open_at_noon(path).close()
    return path


@pytest.fixture
def store(blank: Path, tmp_path: Path) -> Iterator[Store]:
    store = open_at_noon(Path(copy(blank, tmp_path / "cellar.db")))
    yield store
    store.close()
