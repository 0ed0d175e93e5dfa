import pytest

from bench.buffer_tables import BufferTablesError, KnownBuffer, known_buffer, read_buffers, shipped_buffers
from evaluate.buffers import PhthalateEdition, buffer_value, phthalate_ph
from evaluate.electrode import BufferReading, fit_electrode

HEADER = "buffer,edition,temperature_c,ph,source,status"
ROWS = ("mild,first,20,4.00,a book,computed", "mild,first,30,4.02,a book,computed")
BUFFERS = shipped_buffers()


def test_reads_the_rows_of_a_buffer_into_one_table() -> None:
    (found,) = read_buffers(["# a comment", HEADER, *ROWS])
    assert (found.table.name, found.table.edition) == ("mild", "first")
    assert (found.table.temperature_c, found.table.ph) == ((20.0, 30.0), (4.00, 4.02))
    assert (found.source, found.status, found.is_recalled) == ("a book", "computed", False)


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ([HEADER, ROWS[0]], "mild, first"),
        ([HEADER, ROWS[1], ROWS[0]], "temperatures must grow"),
        ([HEADER, ROWS[0], ROWS[1].replace("4.02", "four")], "mild, first"),
        ([HEADER, ROWS[0], ROWS[1].replace("4.02", "nan")], "mild, first"),
        ([HEADER, ROWS[0], ROWS[1].replace("a book", "another")], "come from 2 sources"),
        ([HEADER.replace("source", "origin"), *ROWS], "no column 'source'"),
        ([HEADER.replace("buffer", "name"), *ROWS], "no column 'buffer'"),
    ],
)
def test_refuses_what_makes_no_table(lines: list[str], why: str) -> None:
    with pytest.raises(BufferTablesError, match=why):
        read_buffers(lines)


def test_an_unknown_buffer_or_edition_is_refused_with_those_there_are() -> None:
    with pytest.raises(BufferTablesError, match=r"no edition 'NBS'; there are: .*NBS 1962"):
        known_buffer("phthalate 0.05 mol/kg", "NBS")
    with pytest.raises(BufferTablesError, match=r"no table of a buffer 'pH 4'; there are: borax"):
        known_buffer("pH 4", "NBS 1962")


def test_the_shipped_tables_say_how_they_were_come_by() -> None:
    assert {each.status for each in BUFFERS} == {"computed", "memory", "seen, weak"}
    assert all(each.source for each in BUFFERS)
    assert len({(each.table.name, each.table.edition) for each in BUFFERS}) == len(BUFFERS) == 22
    assert known_buffer("phthalate 0.05 mol/kg", "NBS 1962").is_recalled


@pytest.mark.parametrize("edition", PhthalateEdition)
def test_the_shipped_phthalate_rows_follow_the_printed_equations(edition: PhthalateEdition) -> None:
    table = known_buffer("phthalate 0.05 mol/kg", edition.name.replace("_", " ").title()).table
    for t, ph in zip(table.temperature_c, table.ph, strict=True):
        assert ph == pytest.approx(phthalate_ph(t, edition), abs=0.00051)


def pairs_of_editions() -> list[tuple[KnownBuffer, KnownBuffer]]:
    """Pair each recalled table with those of its buffer that were read or worked out."""
    both = [(a, b) for a in BUFFERS for b in BUFFERS if a.table.name == b.table.name]
    return [
        (a, b) for a, b in both if a.is_recalled and not b.is_recalled and b.table.edition != "Hamer 1946"
    ]


@pytest.mark.parametrize(
    ("recalled", "read"), pairs_of_editions(), ids=lambda each: f"{each.table.name} {each.table.edition}"
)
def test_a_recalled_table_keeps_near_one_that_was_read(recalled: KnownBuffer, read: KnownBuffer) -> None:
    # Up to 50 °C all scales agree within 0.006 pH, but for the phthalate of 2002 and the equation of 1977.
    shared = [t for t in recalled.table.temperature_c if t in read.table.temperature_c and t <= 50.0]
    assert len(shared) >= 5
    apart = [abs(buffer_value(recalled.table, t).ph - buffer_value(read.table, t).ph) for t in shared]
    assert max(apart) < (0.0105 if read.table.edition == "Hetzer 1977" else 0.0065)


@pytest.mark.parametrize(
    ("name", "edition", "ph"),
    [
        ("phthalate 0.05 mol/kg", "NBS 1962", 4.008),  # DIN 19268:2021, 5.3.2, read
        ("phosphate 0.025 mol/kg each", "NBS 1962", 6.865),  # DIN 19268:2021, 5.3.2, read
        ("borax 0.01 mol/kg", "NBS 1962", 9.180),  # Staples and Bates 1969, abstract, read
        ("citrate 0.05 mol/kg", "Staples and Bates 1969", 3.776),  # the same abstract
        ("carbonate 0.025 mol/kg each", "Staples and Bates 1969", 10.012),  # the same abstract
    ],
)
def test_recalled_tables_pass_through_what_was_read(name: str, edition: str, ph: float) -> None:
    assert buffer_value(known_buffer(name, edition).table, 25.0).ph == ph


def test_a_calibration_stands_on_shipped_tables_of_one_edition() -> None:
    # An ideal electrode, 58.167 mV a pH at 20 °C (exact constants), in phthalate and phosphate at 20 °C.
    values = [
        buffer_value(known_buffer(name, "NBS 1962").table, 20.0)
        for name in ("phthalate 0.05 mol/kg", "phosphate 0.025 mol/kg each")
    ]
    electrode = fit_electrode([BufferReading(value, -58.167 * (value.ph - 7.0)) for value in values])
    assert electrode.slope_pct == pytest.approx(100.0, abs=0.01)
    assert electrode.editions == ("NBS 1962",)
