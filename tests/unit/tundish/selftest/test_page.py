import re
from pathlib import Path

import pytest

from tundish.selftest import page, runner
from tundish.selftest.case import Case, NotReproduced, Status
from tundish.selftest.curves import CURVES, Found, PublishedCurve, found_on

HOME = Path(__file__).parents[4]
DIGITS = re.compile(r"^(\| `strd\.\S+` \|.*\|) (\d+) \|$", re.MULTILINE)


def a_case(id_: str, expected: float, found: float, status: Status = Status.PUBLISHED) -> Case:
    tolerance = 1e-9 if id_.startswith("strd") else 0.1
    return Case(id_, "a figure [1]", "a source", status, expected, tolerance, lambda: found)


def page_of(*cases: Case) -> list[str]:
    return page.as_page(runner.run(cases)).splitlines()


def test_a_table_is_one_line_with_its_cells_counted() -> None:
    lines = page_of(a_case("t/first", 1.0, 1.0), a_case("t/second", 1.0, 9.0))
    assert "| `t` | published | 2 | 1 of 2 | a source |" in lines


def test_a_table_that_never_decides_says_so() -> None:
    assert "| `t` | memory | 1 | yes; does not decide | a source |" in page_of(
        a_case("t", 1.0, 1.0, Status.MEMORY)
    )


def test_digits_are_counted_of_certified_values_and_rounded_down() -> None:
    lines = page_of(a_case("strd.one/mean", 100.0, 100.00000000002), a_case("t", 2.0, 2.0))
    assert "| `strd.one/mean` | 100 | 12 |" in lines
    assert not any(line.startswith("| `t` | 2 |") for line in lines)


def test_a_print_in_doubt_stands_with_its_reason() -> None:
    doubt = NotReproduced("t/D4 n=17", "a book", 1.662, 1.622137, "misprint | or worse")
    lines = page.as_page(runner.run([], [doubt])).splitlines()
    assert r"| `t/D4 n=17` | 1.662 | 1.6221 | misprint \| or worse | a book |" in lines


def test_a_section_that_has_nothing_to_show_is_left_out() -> None:
    assert [line for line in page_of(a_case("t", 1.0, 1.0)) if line.startswith("## ")] == ["## Tables"]


def test_a_curve_shows_what_each_method_finds_beside_what_is_printed() -> None:
    curve = PublishedCurve("a curve", "none.csv", "ph", "25.00")
    text = page.as_page(runner.run([]), [Found(curve, "24.5, tied", "24.996", "24.994")])
    assert "| a curve | 25.00 | 24.5, tied | 24.996 | 24.994 |" in text


@pytest.mark.parametrize("curve", CURVES, ids=lambda curve: curve.what)
def test_the_second_derivative_or_a_gran_line_finds_the_published_volume(curve: PublishedCurve) -> None:
    found = found_on(curve)
    said = found.gran if found.second_derivative.startswith("none") else found.second_derivative
    assert float(said) == pytest.approx(
        float(curve.published_ml), rel=0.002
    )  # the notes of each curve say less


def test_every_curve_that_ships_is_evaluated() -> None:
    shipped = {path.name for path in (HOME / "tundish/selftest/data/titration_curves").glob("*.csv")}
    assert {curve.file for curve in CURVES} == shipped


def test_the_page_of_the_documents_is_what_the_program_finds() -> None:
    kept = (HOME / "docs" / "published-figures.md").read_text(encoding="utf-8")
    found = page.as_page(runner.run_all(), map(found_on, CURVES))
    assert DIGITS.sub(r"\1", kept) == DIGITS.sub(r"\1", found), "renew it: tundish selftest --page"
    digits = [[int(number) for _, number in DIGITS.findall(text)] for text in (kept, found)]
    assert len(digits[0]) > 20
    assert digits[0] == pytest.approx(digits[1], abs=1)  # the last digit is the processor's
