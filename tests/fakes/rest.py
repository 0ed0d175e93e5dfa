"""Somebody at the bench who speaks REST alone, and a small bench entered in that way."""

import asyncio
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final, TypeVar

import httpx

from api.app import close_app
from bench.rules import RULES
from storage.store import Store
from tests.fakes.api_app import app_on
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import NOON_US

HOST: Final = "http://127.0.0.1:8710"
API: Final = "/api/v1"
Answer = TypeVar("Answer")


class Rest:
    """A client that names who acts, and a clock that the test moves."""

    def __init__(self, runner: asyncio.Runner, client: httpx.AsyncClient, clock: list[int]) -> None:
        self._runner = runner
        self.client = client
        self._clock = clock

    def request(self, method: str, address: str, **options: Any) -> httpx.Response:
        """Send one request and wait for its answer."""
        return self.run(self.client.request(method, address, **options))

    def run(self, work: Coroutine[Any, Any, Answer]) -> Answer:
        """Wait for work that uses the client itself."""
        return self._runner.run(work)

    @property
    def now_us(self) -> int:
        """The time by the clock of the daemon. [µs]"""
        return self._clock[0]

    def wait_until(self, at_us: int) -> None:
        """Let the clock of the daemon show another time. [µs]"""
        self._clock[0] = at_us

    def get(self, path: str, **params: Any) -> Any:
        answer = self.request("GET", API + path, params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def page(self, path: str) -> str:
        answer = self.request("GET", path)
        assert answer.status_code == 200, answer.text
        return answer.text

    def send(self, method: str, path: str, body: Any, who: str = "MAL", **headers: str) -> Any:
        return self.request(method, API + path, json=body, headers={"Tundish-Actor": who, **headers})

    def post(self, path: str, body: Any, who: str = "MAL") -> Any:
        return self._done(self.send("POST", path, body, who))

    def put(self, path: str, body: Any, who: str = "MAL") -> Any:
        return self._done(self.send("PUT", path, body, who))

    def _done(self, answer: Any) -> Any:
        assert answer.status_code < 300, answer.text
        return answer.json()

    def refused(self, path: str, body: Any, who: str = "MAL", method: str = "POST") -> tuple[int, str]:
        answer = self.send(method, path, body, who)
        assert answer.status_code >= 400, answer.text
        problem = answer.json()
        assert problem["rule"] in RULES, answer.text
        return answer.status_code, problem["rule"]

    def record(self, plural: str, code: str, **fields: Any) -> Any:
        """Make a record that holds from the day before."""
        return self.post(f"/{plural}", {"code": code, "fields": fields, "valid_from": "2025-10-02T12:00:00Z"})


@contextmanager
def rest_on(store: Store, now_us: int = NOON_US + 300_000_000, *, tick_us: int = 0) -> Iterator[Rest]:
    """Give a client of an app on a store; the clock of the daemon stands still until it is moved.

    With `tick_us` it goes on by so much each time that somebody looks. [µs]
    """
    clock = [now_us]

    def look() -> int:
        clock[0] += tick_us
        return clock[0]

    services = replace(still_services(store), clock_us=look)
    app = app_on(services)
    client = httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HOST)
    with asyncio.Runner() as runner:
        yield Rest(runner, client, clock)
        runner.run(client.aclose())
        close_app(app)


def enter_acidity(rest: Rest, *, factor: float = 1.002, **method: Any) -> None:
    """Enter a lot, two samples, hydroxide with its factor, a check wine with its limits, and a method."""
    rest.record("lots", "25-RI-01", name="Riesling", wine_class="white")
    for code in ("CK4H7M", "DM6R3X"):
        rest.record("samples", code, lot="25-RI-01")
    rest.record("reagents", "N-0925", name="NaOH", reagent_kind="titrant", nominal_mol_per_l=0.1)
    rest.record("reagents", "HC1", name="check wine", reagent_kind="control_material")
    rest.record(
        "limit-sets",
        "HC1-TA",
        material="HC1",
        quantity="ta_ph_8_2",
        centre=6.35,
        sd=0.05,
        centre_origin="assigned",
        sd_origin="given",
    )
    rest.record(
        "methods",
        "ta",
        name="TA to pH 8.2",
        quantity="ta_ph_8_2",
        formula="ta_ph_8_2",
        reading_quantity="dispensed_volume",
        aliquot_ml=10,
        titrant="N-0925",
        checks=["HC1"],
        **method,
    )
    strengths = [0.1 * factor] * 3
    standardisation = {"titrant": "N-0925", "strengths_mol_per_l": strengths, "again_mol_per_l": strengths}
    rest.post("/standardisations", {**standardisation, "at": "2025-10-03T11:00:00Z"})


def check(rest: Rest, given_ml: float, at: str, instrument: str = "burette-1") -> int:
    """Enter a run of the check wine and return its number. [mL]"""
    body = {"instrument": instrument, "material": "HC1", "method": "ta", "given": given_ml, "at": at}
    made: int = rest.post("/checks", body)["id"]
    return made


def typed(rest: Rest, given_ml: float, at: str, sample: str = "CK4H7M") -> int:
    """Enter a titre by hand and return the number of its result. [mL]"""
    body = {"method": "ta", "sample": sample, "value": given_ml, "again": given_ml, "instrument": "burette-1"}
    made: int = rest.post("/results", {**body, "at": at})["id"]
    return made
