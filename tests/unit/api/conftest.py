from collections.abc import AsyncIterator, Callable, Iterator

import httpx
import pytest
from fastapi import FastAPI

from api.app import close_app, create_app
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.bench_records import fill_records
from tests.fakes.filled_store import Answer, Filler, fill_bench
from tests.fakes.store_contents import open_at_noon
from tests.services.grounds import Ground, NewStore

BASE = "http://127.0.0.1:8710"


@pytest.fixture
def store(new_store: NewStore) -> Store:
    """A store that was just made."""
    return new_store("demo")


@pytest.fixture
def filler(store: Store) -> Filler:
    return Filler(store)


@pytest.fixture
def app(store: Store) -> Iterator[FastAPI]:
    app = app_on(still_services(store))
    yield app
    close_app(app)


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of an app on an empty store, for tests that write."""
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=BASE) as client:
        yield client


@pytest.fixture(scope="session")
def filled(blank_of: Callable[[str], Ground]) -> Iterator[tuple[Store, dict[str, int]]]:
    """A store with an afternoon at the bench, for tests that only read, and the ids of some readings."""
    store = open_at_noon(blank_of("demo").copy(), "demo")
    yield store, {**fill_bench(Filler(store)), **fill_records(store)}
    store.close()


@pytest.fixture(scope="session")
def ids(filled: tuple[Store, dict[str, int]]) -> dict[str, int]:
    return filled[1]


@pytest.fixture(scope="session")
def bench_app(filled: tuple[Store, dict[str, int]]) -> Iterator[FastAPI]:
    app = create_app(still_services(filled[0]))
    yield app
    close_app(app)


@pytest.fixture
async def bench(bench_app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of an app on the filled store."""
    async with httpx.AsyncClient(transport=httpx.ASGITransport(bench_app), base_url=BASE) as client:
        yield client


@pytest.fixture
def filler_of_markup(filler: Filler) -> int:
    """The id of a reading whose sample id is markup."""
    evil = "<script>alert(1)</script>"
    answer = Answer("free_so2", "28.40", "mg/L", sample=evil)
    return filler.hear(filler.open("burette", evil), f"F;{evil}\r\n".encode(), [answer])[0]
