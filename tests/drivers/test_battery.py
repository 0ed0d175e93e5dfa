"""Every driver keeps every law: those that are shipped, and one of each way to frame and to lay out."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.battery import LAWS, BrokenLawError, Law, Subject, subject_of
from acquire.driver import DriverFactory
from acquire.drivers.data_only import factory_from_path
from acquire.protocols import lis01, modbus
from acquire.registry import DriverRegistry
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
NAMES = [*SHIPPED, *FILES, *CODE]


@cache
def subject(name: str) -> Subject:
    if name in CODE:
        return subject_of(CODE[name])
    path = FILES.get(name)
    return subject_of(REGISTRY.factory(name) if path is None else factory_from_path(path))


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)
@pytest.mark.parametrize("name", NAMES)
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


def test_a_driver_without_messages_proves_nothing() -> None:
    with pytest.raises(BrokenLawError, match="brings no messages to try it by"):
        subject_of(FakeFactory(LineDriver))
