import pytest

from tundish.selftest import tables


def test_rows_are_read_below_the_comment_lines() -> None:
    rows = tables.rows("qc/nist_ewma.csv")
    assert len(rows) == 20
    assert rows[0] == {"t": "1", "x": "52.0", "ewma_printed": "50.60"}


def test_comments_say_where_the_figures_come_from() -> None:
    assert "NIST" in tables.comments("qc/nist_ewma.csv")[0]


def test_figures_in_the_comments_are_read_with_their_exponents() -> None:
    found = tables.figures("nist_strd/norris.csv")
    assert found["certified_sd_B1"] == 0.429796848199937e-3
    assert found["certified_B0"] == -0.262323073774029


def test_the_first_figure_of_a_key_counts() -> None:
    assert tables.figures("nist_strd/norris.csv")["ss"] == 4255954.13232369


def test_an_unknown_table_is_refused() -> None:
    with pytest.raises(FileNotFoundError):
        tables.rows("qc/no_such_table.csv")


@pytest.mark.parametrize("line", ["1,2,3", "1"])
def test_a_row_with_a_wrong_count_of_cells_is_refused(monkeypatch: pytest.MonkeyPatch, line: str) -> None:
    monkeypatch.setattr(tables, "_lines", lambda _name: ["# source", "a,b", "1,2", line])
    with pytest.raises(ValueError, match="row 2"):
        tables.rows("made_up.csv")
