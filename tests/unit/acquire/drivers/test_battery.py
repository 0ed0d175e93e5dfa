"""Every shipped driver, and a driver of each kind of framing, stands the common battery."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import event as note
from hypothesis import given, target
from hypothesis import strategies as st

from acquire.drivers.data_only import DataOnlyFactory, factory_from_path
from acquire.drivers.escapes import bytes_of
from acquire.events import FrameRead
from acquire.registry import SHIPPED_FOLDER
from tests.unit.acquire.drivers import battery

DATA = Path(__file__).parents[3] / "data" / "drivers"
FILES = sorted([*SHIPPED_FOLDER.glob("*.toml"), *DATA.glob("*.toml")])
CHECKED = [path for path in FILES if "[check]" in path.read_text(encoding="utf-8")]


@dataclass(frozen=True)
class Subject:
    """A driver and frames that it can read."""

    factory: DataOnlyFactory
    lead: bytes
    """An end mark, and a header row if there is one: after it, the driver is sure."""
    frames: tuple[bytes, ...]


def subject_of(path: Path) -> Subject:
    """Return the driver of a file with the frames of its own examples."""
    factory = factory_from_path(path)
    definition = factory.definition
    end = bytes_of(definition.framing.ends[0], definition.framing.encoding)
    frames: list[bytes] = []
    for example in definition.examples:
        raw = end + bytes_of(example.raw, definition.framing.encoding)
        events = battery.events_of(factory, [raw])
        frames += [
            raw[event.span.offset : event.span.end] for event in events if isinstance(event, FrameRead)
        ]
    has_header = definition.delimited is not None and definition.delimited.header
    return Subject(factory, end + frames[0] if has_header else end, tuple(frames[has_header:]))


def named(paths: Sequence[Path]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize(
        "subject", [pytest.param(subject_of(path), id=path.stem) for path in paths]
    )


@named(FILES)
@given(data=st.data())
def test_pieces_make_no_difference(subject: Subject, data: st.DataObject) -> None:
    parts = st.one_of(
        st.sampled_from(subject.frames), st.sampled_from(subject.frames), st.binary(max_size=12)
    )
    heard = subject.lead + b"".join(data.draw(st.lists(parts, max_size=6)))
    places = data.draw(st.lists(st.integers(0, len(heard)), max_size=8))
    events = battery.assert_pieces_make_no_difference(subject.factory, heard, places)
    read = sum(event.span.length for event in events if isinstance(event, FrameRead))
    share = read / len(heard)
    note(f"share of valid bytes about {round(share, 1)}")
    target(share, label="share of valid bytes")


@named(FILES)
def test_its_own_messages_are_read_in_any_pieces(subject: Subject) -> None:
    heard = subject.lead + b"".join(subject.frames)
    events = battery.assert_pieces_make_no_difference(subject.factory, heard, range(0, len(heard), 7))
    assert sum(isinstance(event, FrameRead) for event in events) >= len(subject.frames)


@named(FILES)
def test_part_of_a_frame_gives_no_reading(subject: Subject) -> None:
    for frame in subject.frames:
        battery.assert_no_reading_from_part_of_a_frame(subject.factory, subject.lead, frame)


@named(CHECKED)
def test_no_changed_byte_of_a_checked_frame_changes_a_value(subject: Subject) -> None:
    battery.assert_no_changed_byte_changes_a_value(subject.factory, subject.lead, subject.frames[0])


@named(FILES)
@given(noise=st.binary(max_size=40))
def test_noise_before_frames_costs_the_first_at_most(subject: Subject, noise: bytes) -> None:
    battery.assert_noise_before_costs_one_frame_at_most(subject.factory, subject.lead, noise, subject.frames)


@named(FILES)
def test_ten_megabytes_without_an_end_take_little_memory(subject: Subject) -> None:
    battery.assert_bytes_without_an_end_stay_bounded(subject.factory, 10_000_000, 5_000_000)


@named(FILES)
def test_a_million_random_bytes_raise_nothing(subject: Subject) -> None:
    battery.assert_random_bytes_raise_nothing(subject.factory, 1_000_000, seed=20251006)
