"""A zone gives times their offset, unless the clock showed that time twice or never."""

import pytest

from acquire.drivers.zones import Zone, zone_fault


@pytest.mark.parametrize(
    ("zone", "iso", "wanted"),
    [
        ("UTC", "2025-10-06T08:41", "2025-10-06T08:41+00:00"),
        ("+01:00", "2025-10-06T08:41:07", "2025-10-06T08:41:07+01:00"),
        ("-03:30", "2025-10-06T08:41:07.250000", "2025-10-06T08:41:07.250000-03:30"),
        ("Europe/Paris", "2025-10-06T08:41", "2025-10-06T08:41+02:00"),
        ("Europe/Paris", "2025-11-06T08:41", "2025-11-06T08:41+01:00"),
        ("Europe/Paris", "2025-10-26T02:10", "2025-10-26T02:10"),  # shown twice
        ("Europe/Paris", "2025-03-30T02:10", "2025-03-30T02:10"),  # never shown
    ],
)
def test_a_time_gets_the_offset_of_its_zone(zone: str, iso: str, wanted: str) -> None:
    assert Zone(zone).applied(iso) == wanted


@pytest.mark.parametrize("name", ["", "noon", "+1", "+25:00", "../etc", "Europe/Nowhere"])
def test_an_unknown_zone_is_a_fault_in_words(name: str) -> None:
    assert "is no zone that this machine knows" in zone_fault(name)


def test_a_known_zone_has_no_fault() -> None:
    assert zone_fault("Europe/Paris") == zone_fault("UTC") == zone_fault("+05:45") == ""
