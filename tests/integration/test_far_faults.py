"""A broker that fails in every way while readings flow: what the far bench heard is what the collector holds.

Both daemons, the broker and the instruments are real; what is lost or doubled is counted in the stores.
"""

import time
from collections.abc import Callable
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from storage.queries import ReadingFilter, readings_after
from storage.store import Store
from tests.integration.bench_run import Daemon, simulators, until
from tests.integration.far_benches import EVERYTHING, assert_same, benches, heard, opened
from tests.services.mosquitto import Mosquitto

pytestmark = pytest.mark.needs("pseudo-terminals", "mosquitto")

LINES = 4
ALL = "topic readwrite tundish/#\n"
STATUS_ALONE = "topic read tundish/#\ntopic write tundish/north/v1/status\n"
MEANWHILE = 60  # readings heard at the far bench while a fault lasts

Fault = tuple[str, Callable[[Mosquitto], None], Callable[[Mosquitto], None]]
FAULTS: list[Fault] = [
    ("stopped", Mosquitto.stop, Mosquitto.start),
    ("killed", Mosquitto.kill, Mosquitto.start),
    ("frozen", Mosquitto.freeze, Mosquitto.thaw),
    (
        "refusing",
        lambda broker: broker.change_rules(STATUS_ALONE),
        lambda broker: broker.change_rules(ALL),
    ),
]


def publishing(far: Daemon) -> dict[str, Any]:
    found: dict[str, Any] = far.get("/api/v1/health")["publishing"]
    return found


def sequences(store: Store, line: str) -> list[int]:
    """Return the numbers of the frames of a line in the order in which they were taken."""
    with store.reader() as connection:
        found = readings_after(connection, ReadingFilter(line=line), after=0, up_to=EVERYTHING, limit=10**6)
    return [int(one.sequence or "") for one in found]


def meets(fault: Fault, broker: Mosquitto, far: Daemon, near: Daemon) -> float:
    """Let the broker fail while the far bench hears on; return how long the collector then waited. [s]"""
    name, begin, end = fault
    begin(broker)
    heard(far, MEANWHILE)
    if name == "refusing":
        said = until("the refusal", lambda: _refusal(far))
        assert "not authorized" in said
    end(broker)
    ended_s = time.monotonic()
    heard(near, 1)
    back_s = time.monotonic() - ended_s
    until("the broker to take all again", lambda: publishing(far)["state"] == "online")
    return back_s


def _refusal(far: Daemon) -> str:
    """Return in which words the far bench shows that its captures are refused; nothing before that."""
    said = publishing(far)
    return str(said["why"]) if "the broker refuses" in said["why"] else ""


def readings_of(far: Daemon) -> int:
    items = far.get("/api/v1/captures", limit=100)["items"]
    return sum(far.get(f"/api/v1/captures/{one['capture_id']}")["readings"] for one in items)


def all_ended(near: Daemon) -> bool:
    """Tell whether the collector has heard of each line that the far bench stopped it."""
    newest: dict[str, Any] = {}
    for one in near.get("/api/v1/captures", limit=100)["items"]:
        newest.setdefault(one["line"], one["ending"])
    return list(newest.values()) == ["stopped"] * LINES


@pytest.mark.parametrize(
    ("readings", "rounds"), [(1_000, 1), pytest.param(20_000, 5, marks=pytest.mark.soak)], ids=["few", "many"]
)
def test_whatever_a_broker_does_nothing_is_lost_or_doubled_and_every_refusal_is_shown(
    tmp_path: Path, readings: int, rounds: int
) -> None:
    broker = Mosquitto(tmp_path / "broker", rules=ALL)
    broker.start()
    back_s: dict[str, list[float]] = {}
    with ExitStack() as stack:
        stack.callback(broker.kill)
        arguments = ["--lines", str(LINES), "--rate", "50"]
        ports = stack.enter_context(simulators(tmp_path / "ports", "lines", *arguments))
        both = benches(tmp_path, broker, ports)
        lines = [one["instrument"] for one in ports]
        with both.near_daemon() as near, both.far_daemon() as far:
            heard(near, 1)
            for fault in FAULTS * rounds:
                back_s.setdefault(fault[0], []).append(meets(fault, broker, far, near))
            until("enough readings", lambda: readings_of(far) >= readings)
            assert far.stop() == 0
            until("the ends of the captures", lambda: all_ended(near))
            assert near.stop() == 0
    with opened(tmp_path / "far.db") as there, opened(tmp_path / "near.db") as here:
        told = [(sequences(there, line), sequences(here, f"north-{line}")) for line in lines]
    lost = sum(len(set(ours) - set(theirs)) for ours, theirs in told)
    doubled = sum(len(theirs) - len(set(theirs)) for _, theirs in told)
    for name, waits in back_s.items():
        print(f"{name}: {len(waits)} times, back in {max(waits):.1f} s at most")
    print(f"{sum(len(ours) for ours, _ in told)} readings; lost {lost}, doubled {doubled}")
    assert (lost, doubled) == (0, 0)
    assert sum(len(ours) for ours, _ in told) >= readings
    for ours, theirs in told:
        assert theirs == ours
        assert all(before < after for before, after in pairwise(theirs))
    for line in lines:
        assert_same(tmp_path, line)
