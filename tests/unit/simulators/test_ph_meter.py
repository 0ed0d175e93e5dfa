"""The streaming pH meter."""

import math
import re
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.instrument import Message
from simulators.ph_meter import (
    IN_AIR_S,
    IN_BEAKER_S,
    Beaker,
    Electrode,
    PhMeter,
    beakers_of_the_cellar,
    nernst_slope_mv,
)

FRAME = re.compile(rb"pH ((\d{1,2},\d{3}|-,---) [SD]|OVER|UNDER) T \d{1,2},\dC mV -?\d{1,4},\d\r")


def meter(*beakers: Beaker, **more: float) -> PhMeter:
    return PhMeter("ph-1", iter(beakers), 7, **more)  # type: ignore[arg-type]  # only floats


def said(messages: list[Message], key: str) -> list[object]:
    return [message.meaning[key] for message in messages]


@pytest.mark.parametrize(
    ("temperature_c", "slope_mv"),
    [(0.0, 54.199), (20.0, 58.167), (25.0, 59.159), (37.0, 61.540), (50.0, 64.120)],
)
def test_the_slope_follows_nernst(temperature_c: float, slope_mv: float) -> None:
    # ln(10) R T / F with R and F of CODATA 2022 (both exact), worked out to 0.001 mV.
    assert nernst_slope_mv(temperature_c) == pytest.approx(slope_mv, abs=5e-4)


@given(st.floats(0.0, 14.0), st.floats(0.0, 50.0), st.floats(85.0, 105.0), st.floats(6.0, 8.0))
def test_an_electrode_reads_back_what_it_gave(ph: float, t: float, slope: float, zero: float) -> None:
    electrode = Electrode(slope, zero)
    assert electrode.ph(electrode.potential_mv(ph, t), t) == pytest.approx(ph, abs=1e-9)


def test_an_electrode_gives_nothing_at_its_zero_point_and_falls_with_ph() -> None:
    electrode = Electrode(100.0, 7.0)
    assert electrode.potential_mv(7.0, 25.0) == 0.0
    assert electrode.potential_mv(3.0, 25.0) == pytest.approx(4 * 59.159, abs=0.01)


def test_it_speaks_once_a_second_in_its_form() -> None:
    messages = PhMeter("ph-1", beakers_of_the_cellar(Random(1)), 1).advance(600.0)
    assert len(messages) == 600
    assert all(FRAME.fullmatch(message.data) for message in messages)


def test_a_frame_looks_as_it_is_documented() -> None:
    frame = meter(Beaker("x", 3.412, 21.4)).advance(80.0)[-1].data
    assert re.fullmatch(rb"pH 3,4[01]\d S T 21,4C mV 20\d,\d\r", frame)


def test_a_settled_reading_is_near_the_truth_and_marked_stable() -> None:
    last = meter(Beaker("x", 3.412)).advance(IN_BEAKER_S)[-1].meaning
    assert last["mark"] == "S"
    assert float(str(last["shown"]).replace(",", ".")) == pytest.approx(3.412, abs=0.008)


def test_a_new_beaker_begins_drifting_and_settles_for_good() -> None:
    messages = meter(Beaker("x", 3.4)).advance(IN_BEAKER_S)
    marks = "".join(str(mark) for mark in said(messages, "mark"))
    assert re.fullmatch(r"D{20,60}[SD]*S{15,}", marks)


def test_between_beakers_there_is_no_value() -> None:
    messages = meter(Beaker("a", 3.4), Beaker("b", 3.6)).advance(IN_BEAKER_S + IN_AIR_S + 1)
    air = messages[round(IN_BEAKER_S) : -1]
    assert set(said(air, "shown")) == {"-,---"}
    assert messages[-1].meaning["beaker"] == "b"


def test_settling_is_first_order() -> None:
    messages = meter(Beaker("x", 4.0, 20.0)).advance(12.0)
    potentials = [float(m.data.split(b"mV ")[1].replace(b",", b".")) for m in messages]
    goal_mv = Electrode().potential_mv(4.0, 20.0)
    # exp(-12/6) of the way is left after 12 s; the noise is 0.06 mV
    assert (goal_mv - potentials[-1]) / goal_mv == pytest.approx(0.1353, abs=0.003)


def test_a_pulled_plug_reads_under_and_a_plugged_one_reads_again() -> None:
    instrument = meter(Beaker("x", 3.4))
    instrument.advance(60.0)
    instrument.command(["unplug"])
    assert instrument.advance(61.0)[0].data.startswith(b"pH UNDER T 21,")
    instrument.command(["plug"])
    assert instrument.advance(62.0)[0].data.startswith(b"pH 3,")


def test_above_its_range_it_says_over_without_a_letter() -> None:
    frame = meter(Beaker("x", 15.0)).advance(90.0)[-1].data
    assert re.fullmatch(rb"pH OVER T \d\d,\dC mV -\d+,\d\r", frame)


def test_the_zero_point_drifts() -> None:
    beakers = (Beaker("x", 3.4, 20.0) for _ in range(1000))
    instrument = PhMeter("ph-1", beakers, 7)
    early = instrument.advance(IN_BEAKER_S)[-1]
    late = instrument.advance(300 * (IN_BEAKER_S + IN_AIR_S) + IN_BEAKER_S)[-1]
    first, last = (float(m.data.split(b"mV ")[1].replace(b",", b".")) for m in (early, late))
    # 8.75 h at 0.004 pH/h, times 97.8 % of 58.17 mV
    assert last - first == pytest.approx(1.99, abs=0.3)


def test_a_fast_clock_does_not_speak_more_often() -> None:
    assert len(meter(Beaker("x", 3.4), frame_period_s=10.0).advance(100.0)) == 10


@given(st.lists(st.floats(0.0, 30.0), min_size=1, max_size=20))
def test_how_often_it_is_asked_changes_nothing(steps_s: list[float]) -> None:
    stepped, whole = meter(Beaker("x", 3.4)), meter(Beaker("x", 3.4))
    now_s, pieces = 0.0, list[Message]()
    for step_s in steps_s:
        now_s += step_s
        pieces += stepped.advance(now_s)
    assert pieces == whole.advance(now_s)


def test_an_unknown_button_is_named() -> None:
    with pytest.raises(ValueError, match="no button 'dance'"):
        meter().command(["dance"])


def test_a_fouled_electrode_is_flatter_and_slower() -> None:
    sound, fouled = meter(Beaker("a", 3.4)), meter(Beaker("a", 3.4))
    fouled.suffer("fouled_probe", begins=True)
    shown = [said(one.advance(80.0), "shown") for one in (sound, fouled)]
    assert float(str(shown[0][9]).replace(",", ".")) < float(str(shown[1][9]).replace(",", ".")) - 0.5
    assert float(str(shown[1][79]).replace(",", ".")) == pytest.approx(
        6.96 - 0.92 * 3.56 * (1 - math.exp(-80 / 48)), abs=0.05
    )


def test_over_range_is_a_floating_input_and_ends() -> None:
    one = meter(Beaker("a", 3.4))
    one.suffer("over_range", begins=True)
    assert said(one.advance(5.0), "shown")[-1] in ("OVER", "UNDER")
    one.suffer("over_range", begins=False)
    assert said(one.advance(10.0), "shown")[-1] not in ("OVER", "UNDER")
