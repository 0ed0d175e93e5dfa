"""The acid-base burette: its curve follows the charges, its faults bend the result the way they do."""

from functools import reduce
from operator import xor
from random import Random

import pytest

from simulators.acid_burette import AcidBurette
from simulators.acid_titration import AcidPanel, AcidRun, Troubles
from simulators.acids import MALIC, POTASSIUM_G_PER_MOL, TARTARIC
from simulators.instrument import Message
from simulators.samples import LOTS, otterquill

WINE = LOTS[0].wine()


def finished(troubles: Troubles | None = None, panel: AcidPanel | None = None, base: float = 0.1) -> AcidRun:
    run = AcidRun(WINE, panel or AcidPanel(), troubles or Troubles(), base, Random(1))
    while not run.is_over:
        run.tick()
    return run


@pytest.fixture(scope="module")
def sound() -> float:
    """Return the titratable acidity that a set-up without any trouble finds. [g/L]"""
    found = finished().titratable_acidity_g_l()
    assert found is not None
    return found


def test_the_acidity_is_about_that_of_the_acids_less_their_salts(sound: float) -> None:
    """At pH 8.2 each acid has given all its protons: equivalents of acids less those of potassium."""
    equivalents = 2 * WINE.tartaric_g_l / TARTARIC.molar_mass_g + 2 * WINE.malic_g_l / MALIC.molar_mass_g
    equivalents += WINE.lactic_g_l / 90.078 + WINE.acetic_g_l / 60.052 + 2 * WINE.succinic_g_l / 118.088
    equivalents -= WINE.potassium_g_l / POTASSIUM_G_PER_MOL
    assert sound == pytest.approx(equivalents * 75.043, rel=0.02)


def test_the_curve_rises_and_is_steepest_at_its_end() -> None:
    run = AcidRun(WINE, AcidPanel(), Troubles(), 0.1, Random(1))
    points = []
    while not run.is_over:
        if run.tick():
            points.append(run.point)
    assert [volume for volume, _ in points] == sorted(volume for volume, _ in points)
    assert points[0][1] == pytest.approx(3.3, abs=0.2)
    assert points[-1][1] >= 8.2


def test_a_weaker_base_than_the_panel_believes_finds_too_much(sound: float) -> None:
    assert finished(base=0.095).titratable_acidity_g_l() == pytest.approx(sound / 0.95, rel=0.01)


def test_air_in_the_burette_finds_too_much(sound: float) -> None:
    found = finished(Troubles(bubble_ml=1.0)).titratable_acidity_g_l()
    assert found == pytest.approx(sound + 1.0 * 0.1 * 75.043 / 10.0, abs=0.03)


def test_a_stuck_stirrer_overshoots(sound: float) -> None:
    found = finished(Troubles(is_stirred=False)).titratable_acidity_g_l()
    assert found is not None
    assert found > sound + 0.1


def test_a_fouled_probe_finds_another_end(sound: float) -> None:
    found = finished(Troubles(is_clean=False)).titratable_acidity_g_l()
    assert found is not None
    assert abs(found - sound) > 0.005


def test_an_earlier_end_finds_less(sound: float) -> None:
    found = finished(panel=AcidPanel(end_ph=7.0)).titratable_acidity_g_l()
    assert found is not None
    assert found < sound


def test_a_burette_that_runs_out_finds_nothing() -> None:
    run = finished(panel=AcidPanel(capacity_ml=1.0))
    assert (run.ran_out, run.titratable_acidity_g_l()) == (True, None)


# --- the instrument


def burette() -> AcidBurette:
    return AcidBurette("ta-1", otterquill(1), lambda: 1_759_740_067_000_000, 1)


def fields(message: Message) -> list[str]:
    return message.data.decode("ascii").rstrip("\r\n").partition("~")[0].split(";")


def first_result(one: AcidBurette) -> Message:
    to_s = 0.0
    while True:
        to_s += 5.0
        for message in one.advance(to_s):
            if message.meaning["kind"] == "result":
                return message


def test_a_run_says_its_beginning_its_curve_and_its_result() -> None:
    one = burette()
    said: list[Message] = []
    while not said or said[-1].meaning["kind"] != "result":
        said += one.advance(one.next_due_s)
    assert [message.meaning["kind"] for message in said[:3]] == ["greeting", "run", "curve"]
    assert fields(said[-1])[:6] == ["ACD", "1", "06.10.25 08:41", "TA8.2", "W-1001", "0"]
    assert all(message.data.endswith(b"\r\n") for message in said)
    body, _, check = said[-1].data.rstrip().rpartition(b"~")
    assert int(check, 16) == reduce(xor, body)


@pytest.mark.parametrize(
    ("ailment", "place", "wanted"),
    [
        ("over_range", 5, "4"),
        ("over_range", 6, ">1.000 mL"),
        ("over_range", 7, "*"),
        ("wrong_mode", 3, "TA7.0"),
        ("wrong_clock", 2, "01.01.00 00:00"),
    ],
)
def test_ailments_show_in_the_result(ailment: str, place: int, wanted: str) -> None:
    one = burette()
    one.suffer(ailment, begins=True)
    assert fields(first_result(one))[place] == wanted


def test_its_memory_is_sent_again_byte_by_byte() -> None:
    one = burette()
    result = first_result(one)
    assert [message.data for message in one.suffer("resent_memory", begins=True)] == [result.data]
    assert [message.meaning["kind"] for message in one.restart()] == ["greeting"]
    assert one.command(["memory"]) == []


def test_a_run_can_be_stopped() -> None:
    one = burette()
    one.advance(20.0)
    [result] = one.command(["abort"])
    assert fields(result)[5:] == ["9", fields(result)[6], "*"]
    assert one.command(["abort"]) == []
    with pytest.raises(ValueError, match="there are: memory, abort, calibrate"):
        one.command(["tea"])


def test_a_calibration_is_reported_on_demand() -> None:
    [report] = burette().command(["calibrate"])
    assert fields(report) == [
        "CAL",
        "06.10.25 08:41",
        "21.4",
        "7.00",
        "-2.1",
        "4.01",
        "170.2",
        "98.6",
        "-2.1",
    ]
