"""Every driver keeps every law: those that are shipped, and one of each way to frame and to lay out."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.battery import LAWS, BrokenLawError, Law, Subject, subject_of
from acquire.battery.laws import noise_before_costs_one_message_at_most
from acquire.driver import DriverFactory
from acquire.drivers.data_only import factory_from_path
from acquire.protocols import lis01, modbus, query
from acquire.registry import DriverRegistry
from acquire.rehearsal import Rehearsal
from tests.fakes.driver import FakeFactory, LineDriver

DATA = Path(__file__).parents[1] / "data" / "drivers"
FILES = {path.stem: path for path in sorted(DATA.glob("*.toml"))}
REGISTRY = DriverRegistry()
SHIPPED = [offer.name for offer in REGISTRY.survey() if offer.origin == "shipped"]
CODE: dict[str, DriverFactory] = {
    "lis01": lis01.factory({"tests": {"PH": {"quantity": "ph", "unit": "pH"}}}),
    "modbus-rtu": modbus.factory(
        {
            "device": 17,
            "poll": [
                {
                    "registers": "input",
                    "first": 0,
                    "count": 3,
                    "every_s": 1.0,
                    "fields": [
                        {"at": 0, "type": "uint16", "quantity": "conductivity", "unit": "µS/cm"},
                        {"at": 1, "type": "float32", "quantity": "ph", "unit": "pH"},
                    ],
                }
            ],
        }
    ),
}
QUERY = query.factory(
    {"poll": [{"send": "READ?", "every_s": 1.0, "fields": [{"quantity": "ph", "unit": "pH"}]}]}
)
ANSWERS = Rehearsal(
    (b"3.41\r\n", b"13.52\r\n"), lead=b"Cask and Bung,PM-1,0042,1.3\r\n", pause_ns=2_500_000_000
)
"""The answer to the question who it is, and those to the question of the line, one a second."""
NAMES = [*SHIPPED, *FILES, *CODE, query.NAME]


@cache
def subject(name: str) -> Subject:
    if name == query.NAME:
        return Subject(QUERY, ANSWERS)
    if name in CODE:
        return subject_of(CODE[name])
    path = FILES.get(name)
    return subject_of(REGISTRY.factory(name) if path is None else factory_from_path(path))


CASES = [
    pytest.param(name, law, id=f"{name}-{law.__name__}")
    for name in NAMES
    for law in LAWS
    if (name, law) != (query.NAME, noise_before_costs_one_message_at_most)
    # behind noise it asks anew who is there before it believes another answer
]


@pytest.mark.parametrize(("name", "law"), CASES)
def test_a_driver_keeps_a_law(name: str, law: Law) -> None:
    law(subject(name))


@pytest.mark.parametrize("name", NAMES)
@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_pieces_make_no_difference(name: str, data: st.DataObject) -> None:
    one = subject(name)
    parts = st.one_of(st.sampled_from(one.messages), st.sampled_from(one.messages), st.binary(max_size=12))
    heard = b"".join(data.draw(st.lists(parts, max_size=6)))
    places = sorted({0, len(heard), *data.draw(st.lists(st.integers(0, len(heard)), max_size=8))})
    pieces = [heard[begin:end] for begin, end in pairwise(places)]
    assert one.hear(pieces) == one.hear([heard])


def test_every_installed_driver_is_tried() -> None:
    assert {offer.name for offer in REGISTRY.survey()} <= set(NAMES)


def test_a_driver_without_messages_proves_nothing() -> None:
    with pytest.raises(BrokenLawError, match="brings no messages to try it by"):
        subject_of(FakeFactory(LineDriver))
