"""Forms of times, found in texts."""

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.times import TimeForm
from acquire.learning.moments import time_form_of

FIRST = datetime.datetime.fromisoformat("2001-01-01")
LAST = datetime.datetime.fromisoformat("2099-12-31")  # instruments say no zone


@pytest.mark.parametrize(
    ("texts", "form"),
    [
        (["2025-10-06", "2025-01-26"], "YYYY-MM-DD"),
        (["06.10.2025", "26.01.2025"], "DD.MM.YYYY"),
        (["2025-10-06T08:41:00Z", "2025-01-26T18:01:59Z"], "YYYY-MM-DD'T'hh:mm:ssZ"),
        (["6.10.2025 8:41", "26.1.2025 18:01"], "D.M.YYYY h:mm"),
        (["6 Oct 2025 08:41", "26 Jan 2025 18:01"], "D MMM YYYY hh:mm"),
        (["4 March 2031", "14 May 2031"], "D MMMM YYYY"),
        (["9.59 am", "10.14 pm"], "h.mm AP"),
        (["08:41:02.5", "18:41:02.25"], "hh:mm:ss.f"),
        (["20251006084100", "20250126180159"], "YYYYMMDDhhmmss"),
        (["08h41m02", "18h01m59"], "hh'h'mm'm'ss"),
    ],
)
def test_the_form_is_found(texts: list[str], form: str) -> None:
    label = "Hour" if "am" in texts[0] else ""
    found = time_form_of(texts, label)
    assert found is not None
    reads = [TimeForm(found.form).read(text) for text in texts]
    assert reads == [
        TimeForm(form.replace("Z", "'Z'") if form.endswith("Z") else form).read(text) for text in texts
    ]


@pytest.mark.parametrize("texts", [["3.41", "3.52"], ["W-1007"], ["21.4"], [""], ["12-34x"], ["1.0.3"] * 20])
def test_what_is_no_time_has_no_form(texts: list[str]) -> None:
    assert time_form_of(texts) is None


def test_an_order_that_cannot_be_told_is_left_open() -> None:
    found = time_form_of(["06/10/2025", "07/10/2025"])
    assert found is not None
    assert TimeForm(found.form).read("06/10/2025") == "2025-10-06"
    assert TimeForm(found.other).read("06/10/2025") == "2025-06-10"
    turned = time_form_of(["06/10/2025", "07/10/2025"], month_first=True)
    assert turned is not None
    assert (turned.form, turned.other) == (found.other, found.form)
    clear = time_form_of(["06/10/2025", "26/10/2025"])
    assert clear is not None
    assert clear.other == ""


@given(
    moments=st.lists(st.datetimes(FIRST, LAST), min_size=20, max_size=40),
    form=st.sampled_from(
        ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M", "%Y/%m/%d", "%d %b %Y %H:%M:%S", "%H:%M:%S"]
    ),
)
def test_times_are_read_as_they_were_meant(moments: list[datetime.datetime], form: str) -> None:
    texts = [moment.strftime(form) for moment in moments]
    found = time_form_of(texts)
    assert found is not None
    for text in texts:
        read = (
            datetime.datetime.fromisoformat(f"2000-01-01T{TimeForm(found.form).read(text)}")
            if (not found.has_date)
            else datetime.datetime.fromisoformat(TimeForm(found.form).read(text))
        )
        assert read.strftime(form) == text
