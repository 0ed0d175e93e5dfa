"""One browser and one daemon for all tests of this folder; a tab for each."""

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.visitor import Visitor, visiting
from tests.integration.bench_run import (
    Daemon,
    SimulatedBench,
    config_text,
    daemon,
    free_port,
    line_of,
    simulated_bench,
    until,
)
from tundish.demo import furnished

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


# Not for the whole session: while playwright's loop runs in this thread, no test can run a loop of its own.
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="package")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimulatedBench]:
    with simulated_bench(tmp_path_factory.mktemp("ports"), "bench", "--speed", "60") as running:
        yield running


@pytest.fixture(scope="package")
def demo(bench: SimulatedBench, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """Give a daemon that listens to the simulated bench and has heard both instruments."""
    port = free_port()
    config = tmp_path_factory.mktemp("demo") / "tundish.toml"
    lines = [line_of(one) for one in bench.instruments]
    config.write_text(config_text(port, lines, kind="demo"), encoding="utf-8")
    with daemon(config, port) as running:
        until("a result of the burette", lambda: _readings(running, "free_so2"))
        until("a reading of the meter", lambda: _readings(running, "ph"))
        yield running


@pytest.fixture(scope="package")
def balance(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimulatedBench]:
    """Give a balance with a print button."""
    folder = tmp_path_factory.mktemp("balance")
    call = ("button-balance", "--port", str(folder / "port"), "--speed", "30")
    with simulated_bench(folder / "ports", *call) as running:
        yield running


@pytest.fixture(scope="package")
def cellar(balance: SimulatedBench, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """Give a daemon that hears the balance and knows the wines of the demonstration."""
    port = free_port()
    config = tmp_path_factory.mktemp("cellar") / "tundish.toml"
    config.write_text(config_text(port, [line_of(balance.instruments[0])], kind="demo"), encoding="utf-8")
    furnished(config)
    with daemon(config, port) as running:
        yield running


@pytest.fixture
def worker(browser: Browser, cellar: Daemon) -> Iterator[Visitor]:
    """Give a tab of somebody who works in the cellar; nothing may have gone wrong in it afterwards."""
    with visiting(browser, cellar.url) as one:
        yield one
        assert one.complaints == []
        assert one.left_the_origin() == []


def _readings(running: Daemon, quantity: str) -> list[object]:
    items: list[object] = running.get("/api/v1/readings", quantity=quantity)["items"]
    return items


@pytest.fixture
def visitor(browser: Browser, demo: Daemon) -> Iterator[Visitor]:
    """Give a tab; afterwards nothing may stand on its console and nothing may have left the origin."""
    with visiting(browser, demo.url) as one:
        yield one
        assert one.complaints == []
        assert one.left_the_origin() == []
