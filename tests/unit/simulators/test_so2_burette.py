"""The SO2 burette as a whole."""

import re
from itertools import islice, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.instrument import Message
from simulators.samples import Sample, otterquill
from simulators.so2_burette import MEMORY, So2Burette, Truth, framed
from simulators.titration import Panel

AT_US = 1_759_740_067_000_000  # 2025-10-06T08:41:07Z
IDEAL = Truth(titrant_mol_l=0.0100, blank_ml=0.0, is_noisy=False)
ROSE = Sample("W-1007", "25-RS-01", 29.4, 60.0)


def burette(*samples: Sample, truth: Truth = IDEAL, **more: float) -> So2Burette:
    return So2Burette("bur-1", iter(samples), lambda: AT_US, 5, truth=truth, **more)  # type: ignore[arg-type]  # only floats


def of_kind(messages: list[Message], kind: str) -> list[bytes]:
    return [message.data for message in messages if message.meaning["kind"] == kind]


def result_of(instrument: So2Burette, to_s: float = 2000.0) -> list[str]:
    (frame,) = of_kind(instrument.advance(to_s), "result")
    return frame.decode("ascii").split("|")


def check_is_right(frame: bytes) -> bool:
    body, _, check = frame.removesuffix(b"\r\n").rpartition(b"*")
    return f"{sum(body) % 256:02X}".encode() == check


def test_a_result_has_every_field_in_its_place() -> None:
    assert result_of(burette(ROSE))[:-1] == [
        "R", "0001", "2025-10-06 08:41:07", "F", "W-1007", "2.31", "mL", "29.6", "mg/L"
    ]  # fmt: skip


def test_every_frame_of_a_day_has_a_right_check_and_ends_with_cr_lf() -> None:
    frames = [message.data for message in So2Burette("b", otterquill(1), lambda: AT_US, 1).advance(3600.0)]
    assert len(frames) > 1000
    assert all(check_is_right(frame) and frame.endswith(b"\r\n") for frame in frames)


def test_the_banner_comes_first_and_once() -> None:
    messages = burette(ROSE).advance(500.0)
    assert messages[0].data == b"B|SO2 burette|ready|*BA\r\n"
    assert len(of_kind(messages, "banner")) == 1


def test_the_curve_runs_at_two_points_a_second_at_most() -> None:
    frames = of_kind(burette(ROSE, curve_period_s=0.01).advance(500.0), "curve")
    times = [float(frame.split(b"|")[2]) for frame in frames]
    assert {round(b - a, 3) for a, b in pairwise(times)} == {0.5}


def test_the_volume_of_the_curve_never_falls_and_ends_at_the_result() -> None:
    messages = burette(ROSE).advance(500.0)
    volumes = [float(frame.split(b"|")[3]) for frame in of_kind(messages, "curve")]
    assert volumes == sorted(volumes)
    assert volumes[-1] == float(of_kind(messages, "result")[0].split(b"|")[5])


def test_above_its_range_it_gives_no_number() -> None:
    fields = result_of(burette(Sample("W-1", "24-CH-02", 190.0, 190.0)))
    assert (fields[5], fields[7]) == (">10.00", ">OVR")


def test_dirty_pins_give_no_value() -> None:
    instrument = burette(ROSE)
    instrument.command(["dirty_pins"])
    assert result_of(instrument)[7] == "----"


def test_a_titre_below_the_blank_gives_no_value() -> None:
    instrument = So2Burette(
        "b", iter([Sample("W-1", "x", 0.0, 0.0)]), lambda: AT_US, panel=Panel(blank_ml=0.5), truth=IDEAL
    )
    assert result_of(instrument)[7] == "----"


def test_an_aborted_run_says_so() -> None:
    instrument = burette(ROSE)
    instrument.advance(20.0)
    instrument.command(["abort"])
    fields = result_of(instrument)
    assert fields[7] == "ABRT"
    assert re.fullmatch(r"\d\.\d\d", fields[5])


def test_every_second_sample_is_run_for_total_as_well() -> None:
    second = Sample("W-2", "x", 20.0, 40.0)
    frames = of_kind(burette(ROSE, second).advance(2000.0), "result")
    assert [frame.split(b"|")[3:5] for frame in frames] == [[b"F", b"W-1007"], [b"F", b"W-2"], [b"T", b"W-2"]]
    assert float(frames[2].split(b"|")[7]) == pytest.approx(40.0, abs=0.4)


def test_a_weak_titrant_makes_the_instrument_read_high() -> None:
    weak = Truth(titrant_mol_l=0.0090, blank_ml=0.0, is_noisy=False)
    assert float(result_of(burette(ROSE, truth=weak))[7]) == pytest.approx(29.4 / 0.9, abs=0.35)


def test_the_key_holds_the_truth_beside_what_was_shown() -> None:
    (message,) = [m for m in burette(ROSE).advance(500.0) if m.meaning["kind"] == "result"]
    assert (message.meaning["true_free_mg_l"], message.meaning["shown"]) == (29.4, "29.6")


def test_its_clock_is_its_own() -> None:
    assert result_of(burette(ROSE, clock_offset_s=7_241.0))[2] == "2025-10-06 10:41:48"


def test_the_clock_can_be_set_wrong() -> None:
    instrument = burette(ROSE)
    instrument.command(["clock", "-813000000"])
    assert result_of(instrument)[2] == "2000-01-01 15:21:07"


def test_the_memory_sends_the_same_bytes_again() -> None:
    instrument = burette(ROSE, Sample("W-2", "x", 20.0, 40.0))
    results = of_kind(instrument.advance(2000.0), "result")
    assert [message.data for message in instrument.command(["memory"])] == results


def test_the_memory_keeps_the_last_hundred() -> None:
    instrument = burette(*islice(otterquill(1), 80), change_s=0.0)
    results = of_kind(instrument.advance(50_000.0), "result")
    assert len(results) > MEMORY
    assert [message.data for message in instrument.command(["memory"])] == results[-MEMORY:]


def test_after_a_power_blip_it_greets_and_starts_with_the_next_sample() -> None:
    instrument = burette(ROSE, Sample("W-2", "x", 20.0, 40.0))
    instrument.advance(20.0)
    assert of_kind(instrument.restart(), "banner") != []
    frames = of_kind(instrument.advance(2000.0), "result")
    assert frames[0].split(b"|")[1:5:3] == [b"0002", b"W-2"]


def test_the_sequence_wraps_at_9999() -> None:
    instrument = burette(ROSE, ROSE)
    instrument._sequence = 9998
    frames = of_kind(instrument.advance(2000.0), "result")
    assert [frame.split(b"|")[1] for frame in frames] == [b"9999", b"0001", b"0002"]


def test_without_samples_it_is_quiet() -> None:
    instrument = burette()
    assert of_kind(instrument.advance(100.0), "banner") != []
    assert (instrument.advance(1000.0), instrument.next_due_s) == ([], float("inf"))


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.0, 60.0), min_size=1, max_size=30))
def test_how_often_it_is_asked_changes_nothing(steps_s: list[float]) -> None:
    stepped, whole = (So2Burette("b", otterquill(2), lambda: AT_US, 2) for _ in range(2))
    now_s, said = 0.0, list[Message]()
    for step_s in steps_s:
        now_s += step_s
        said += stepped.advance(now_s)
    assert said == whole.advance(now_s)


def test_another_seed_gives_another_day() -> None:
    first, same, other = (So2Burette("b", otterquill(s), lambda: AT_US, s).advance(600.0) for s in (1, 1, 2))
    assert first == same != other


def test_an_unknown_button_is_named() -> None:
    with pytest.raises(ValueError, match="no button 'dance'"):
        burette(ROSE).command(["dance"])


def test_the_check_is_the_sum_of_all_bytes_before_it() -> None:
    assert framed("A") == b"A|*BD\r\n"  # 0x41 + 0x7C


def ailing(name: str) -> list[str]:
    one = burette(ROSE)
    one.suffer(name, begins=True)
    return result_of(one)


@pytest.mark.parametrize(
    ("name", "place", "wanted"),
    [
        ("wrong_clock", 2, "2000-01-01 00:00:00"),
        ("wrong_mode", 3, "T"),
        ("over_range", 7, ">OVR"),
        ("over_range", 5, ">0.30"),
    ],
)
def test_ailments_show_in_the_result(name: str, place: int, wanted: str) -> None:
    assert ailing(name)[place] == wanted


def test_air_in_the_burette_finds_too_much() -> None:
    sound, found = float(result_of(burette(ROSE))[7]), float(ailing("air_in_burette")[7])
    assert found == pytest.approx(sound + 0.5 * 0.01 * 64_060 / 50.0, abs=0.3)


def test_with_a_stuck_stirrer_drops_hang_about_the_pins_and_the_end_comes_too_early() -> None:
    assert float(ailing("stuck_stirrer")[7]) < float(result_of(burette(ROSE))[7]) - 1.0


def test_fouled_pins_find_an_earlier_end() -> None:
    assert float(ailing("fouled_probe")[7]) < float(result_of(burette(ROSE))[7])


def test_an_ailment_ends_and_the_memory_comes_again_on_demand() -> None:
    one = burette(ROSE)
    for name in ("stuck_stirrer", "air_in_burette", "fouled_probe", "wrong_mode"):
        one.suffer(name, begins=True)
        one.suffer(name, begins=False)
    result = result_of(one)
    assert result == result_of(burette(ROSE))
    assert [message.data for message in one.suffer("resent_memory", begins=True)] == [
        "|".join(result).encode()
    ]
