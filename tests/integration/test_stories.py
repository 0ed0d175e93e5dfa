"""The stories are played as they stand: real curl, a real server, and every answer held against the page."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
import uvicorn

from api.app import close_app, create_app
from storage.store import Store
from tests.fakes.api_services import StillLines, still_services
from tests.fakes.filled_store import Answer, Filler
from tests.independent.stories_computed import BURETTE, Step, decimals, shown, steps
from tests.services.grounds import NewStore
from tests.unit.bench.acts import take_in

HOME = Path(__file__).parents[2]
PAGE = HOME / "docs" / "stories.md"
SCRIPT = HOME / "tests" / "independent" / "stories_computed.py"
NOW_US = 1_762_329_600_000_000  # 2025-11-05T08:00:00Z, after the last act of the stories
REFERENCES = frozenset(
    {
        "id",
        "result",
        "results",
        "number",
        "record",
        "hold",
        "amendment",
        "control_record",
        "revision",
        "items",
        "item",
        "reading_id",
    }
)
"""Members that name something by its number: which number it gets depends on what was entered before."""
MORE = "..."


class Served(uvicorn.Server):
    """A server that says when it listens."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.listens = Event()

    async def startup(self, sockets: Any = None) -> None:
        await super().startup(sockets)
        self.listens.set()

    @property
    def port(self) -> int:
        port: int = self.servers[0].sockets[0].getsockname()[1]
        return port


@dataclass
class Player:
    """Plays commands and remembers which number of the page is which of the store."""

    port: int
    prelude: str
    store: Store
    numbers: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.filler = Filler(self.store, at_us=NOW_US)
        self.capture = self.filler.open("burette", "bur-1")

    def hear(self, message: str) -> None:
        """Let the burette say something: its number, mode, sample and volume."""
        sequence, mode, sample, volume = message.split("|")
        answer = Answer("dispensed_volume", volume, "mL", sample=sample or None, sequence=sequence, mode=mode)
        self.filler.hear(self.capture, f"{message}\r\n".encode(), [answer])
        take_in(self.store)

    def play(self, command: str) -> str:
        text = f"{self.prelude}\n{self._with_our_numbers(command)}"
        real = text.replace("127.0.0.1:8710", f"127.0.0.1:{self.port}")
        done = subprocess.run(["bash", "-c", real], capture_output=True, text=True, check=True, timeout=60)
        return done.stdout

    def _with_our_numbers(self, command: str) -> str:
        """Put the store's numbers in place of the page's, in addresses and where a body names something."""
        found = re.sub(r"(?<=/)\d+(?=[\s/'?]|$)", self._ours, command)
        return re.sub(
            r'("(?:results|item|readings)": \[?)([\d, ]+)',
            lambda m: m[1] + re.sub(r"\d+", self._ours, m[2]),
            found,
        )

    def _ours(self, number: "re.Match[str]") -> str:
        return str(self.numbers[int(number[0])])

    def same(self, told: Any, came: Any, where: str = "", name: str = "") -> None:
        """Hold an answer of the page against the one that came; dots stand for any members and items."""
        if isinstance(told, dict):
            assert isinstance(came, dict), where
            assert (MORE in told) or told.keys() == came.keys(), (
                f"{where}: {came.keys() - told.keys()} are left out"
            )
            for key in told.keys() - {MORE}:
                self.same(told[key], came[key], f"{where}.{key}", key)
        elif isinstance(told, list):
            self._same_list(told, came, where, name)
        elif isinstance(told, int) and not isinstance(told, bool) and name in REFERENCES:
            assert self.numbers.setdefault(told, came) == came, where
        elif isinstance(told, float):
            assert abs(told - came) <= 0.500001 * 10 ** -decimals(told), (
                f"{where}: {told} is told, {came} came"
            )
        else:
            assert told == came, f"{where}: {told!r} is told, {came!r} came"

    def _same_list(self, told: list[Any], came: list[Any], where: str, name: str) -> None:
        at = told.index(MORE) if MORE in told else None
        if at is None:
            assert len(told) == len(came), f"{where}: {len(came)} items came"
            pairs = list(zip(told, came, strict=True))
        else:
            after = len(told) - at - 1
            pairs = list(zip(told[:at], came, strict=False))
            pairs += list(zip(told[at + 1 :], came[len(came) - after :], strict=True))
        for place, (one, other) in enumerate(pairs):
            self.same(one, other, f"{where}[{place}]", name)


@pytest.fixture
def player(new_store: NewStore) -> Iterator[Player]:
    store: Store = new_store("real")
    services = replace(still_services(store), clock_us=lambda: NOW_US, lines=StillLines([]))
    app = create_app(services)
    server = Served(uvicorn.Config(app, port=0, log_level="critical", lifespan="off"))
    thread = Thread(target=server.run)
    thread.start()
    assert server.listens.wait(30)
    text = PAGE.read_text(encoding="utf-8")
    (prelude,) = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    yield Player(server.port, prelude, store)
    server.should_exit = True
    thread.join(30)
    close_app(app)


def played(player: Player, command: str, lines: list[str]) -> None:
    if command.startswith(BURETTE):
        player.hear(command.removeprefix(BURETTE))
        return
    came = player.play(command)
    if "while read" in command:
        assert '"status"' not in came, came  # none of them was refused
        return
    try:
        player.same(shown(lines), json.loads(came), "answer")
    except AssertionError as error:
        raise AssertionError(f"$ {command}\n{error}\nthe whole answer: {came}") from error


@pytest.mark.needs("curl")
def test_the_stories_go_as_they_are_told(player: Player) -> None:
    told: list[Step] = steps(PAGE.read_text(encoding="utf-8"))
    assert len(told) > 30
    for command, lines in told:
        played(player, command, lines)


def test_a_stranger_with_a_pocket_calculator_finds_the_numbers_of_the_stories() -> None:
    answer = subprocess.run(
        [sys.executable, "-I", str(SCRIPT), str(PAGE)], capture_output=True, text=True, check=False
    )
    found = json.loads(answer.stdout)
    assert found["wrong"] == []
    assert found["right"] >= 12


def test_the_stranger_s_script_imports_nothing_of_ours() -> None:
    lines = SCRIPT.read_text(encoding="utf-8").splitlines()
    words = {line.split()[1].split(".")[0] for line in lines if line.startswith(("import ", "from "))}
    assert words <= {"json", "re", "sys", "datetime", "pathlib", "typing"}
