"""Times are read in their declared form, and only if they exist."""

import pytest

from acquire.drivers.refusal import Refusal
from acquire.drivers.times import TimeForm


@pytest.mark.parametrize(
    ("form", "text", "iso"),
    [
        ("YYYY-MM-DD hh:mm:ss", "2025-10-06 08:41:07", "2025-10-06T08:41:07"),
        ("DD.MM.YY hh:mm", "06.10.25 08:41", "2025-10-06T08:41"),
        ("YYYYMMDDhhmmss", "20251006084107", "2025-10-06T08:41:07"),
        ("MM/DD/YYYY", "10/06/2025", "2025-10-06"),
        ("hh:mm:ss", "08:41:07", "08:41:07"),
        ("hh.mm", "08.41", "08:41"),
        ("D.M.YYYY h:mm", "6.1.2025 8:41", "2025-01-06T08:41"),
        ("DD-MMM-YY", "06-Oct-25", "2025-10-06"),
        ("D MMM YYYY hh:mm", "6 OCT 2025 08:41", "2025-10-06T08:41"),
        ("D MMMM YYYY hh:mm", "6 October 2025 08:41", "2025-10-06T08:41"),
        ("MMMM D, YYYY", "may 6, 2025", "2025-05-06"),
        ("MM/DD/YYYY hh:mm:ss AP", "10/06/2025 12:00:07 am", "2025-10-06T00:00:07"),
        ("h:mm AP", "12:05 PM", "12:05"),
        ("h:mm AP", "8:05 PM", "20:05"),
        ("hh'h'mm", "08h41", "08:41"),
        ("hh:mm:ss.f", "08:41:07.25", "08:41:07.250000"),
        ("YYYY-MM-DD'T'hh:mm:ss", "2025-10-06T08:41:07", "2025-10-06T08:41:07"),
    ],
)
def test_reads_a_time_as_far_as_it_was_sent(form: str, text: str, iso: str) -> None:
    assert TimeForm(form).read(text) == iso


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2025-10-06",
        "2025-10-06 08:41:7",
        "2025-13-06 08:41:07",
        "2025-02-29 00:00:00",
        "2025-10-06 24:00:00",
    ],
)
def test_refuses_a_time_of_another_form_or_one_that_does_not_exist(text: str) -> None:
    with pytest.raises(Refusal) as caught:
        TimeForm("YYYY-MM-DD hh:mm:ss").read(text)
    assert caught.value.reason == "wrong_time"


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("h:mm AP", "0:05 PM"),
        ("h:mm AP", "13:05 PM"),
        ("DD MMM YYYY", "06 Okt 2025"),
        ("DD MMMM YYYY", "06 Oct 2025"),
        ("h:mm", "24:00"),
        ("h:mm", "8:60"),
        ("D.M.YYYY", "0.1.2025"),
        ("D.M.YYYY", "٦.١.2025"),
    ],
)
def test_refuses_what_no_clock_shows(form: str, text: str) -> None:
    with pytest.raises(Refusal):
        TimeForm(form).read(text)


def test_reads_the_leap_day_of_a_leap_year() -> None:
    assert TimeForm("YY-MM-DD").read("24-02-29") == "2024-02-29"


@pytest.mark.parametrize(
    "form", ["", "no", "YYYY-MM", "hh", "mm:ss", "YYYY-MM-DD YY", "YYYY-MM-DD hh", "YYYY-MM-DD AP", "hh:mm.f"]
)
def test_refuses_a_form_that_makes_no_whole_date_or_time(form: str) -> None:
    with pytest.raises(ValueError, match="the time form"):
        TimeForm(form)
