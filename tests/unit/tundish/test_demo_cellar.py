"""The demonstration's laboratory: entered once, and the same cellar as that of the simulated bench."""

from pathlib import Path

from bench.kinds.cellar import Sample
from bench.records import find
from simulators.samples import FIRST_SAMPLE, LOTS, otterquill
from storage.queries.records import records_of_kind
from storage.queries.result_statements import ResultFilter
from storage.queries.results import results_after
from storage.queries.trays import tray_items
from storage.store import open_store
from tests.fakes.filled_store import NOON_US
from tundish import demo_cellar


def test_the_demonstration_knows_the_cellar_of_the_simulated_bench() -> None:
    assert list(demo_cellar.LOTS) == [lot.code for lot in LOTS]
    assert list(demo_cellar.PH) == [lot.ph for lot in LOTS]
    assert list(demo_cellar.FREE_MG_L) == [lot.free_mg_l for lot in LOTS]
    assert list(demo_cellar.TOTAL_MG_L) == [lot.total_mg_l for lot in LOTS]
    assert demo_cellar.FIRST_SAMPLE == FIRST_SAMPLE


def test_it_is_furnished_once(tmp_path: Path) -> None:
    store = open_store(tmp_path / "demo.db", kind="demo", clock_us=lambda: NOON_US)
    demo_cellar.furnish(store, NOON_US)
    with store.reader() as connection:
        every = [one.code for one in records_of_kind(connection, "sample", limit=1000)]
        samples = [code for code in every if code.startswith("W-")]
        drawn = [one for one, _ in zip(otterquill(1), samples, strict=False)]
        assert samples == [one.id for one in drawn]
        assert [find(connection, Sample, one.id).body.lot for one in drawn] == [one.lot for one in drawn]
        assert len(tray_items(connection, "bur-1")) == demo_cellar.ON_THE_TRAY
        typed = results_after(connection, ResultFilter())
        assert {one.quantity for one in typed} == {"ph", "free_so2", "total_so2", "molecular_so2"}
        assert {one.standing for one in typed} == {"good", "provisional"}  # no check wine was run
        assert all(one.hand for one in typed if one.quantity != "molecular_so2")
        head = store.writer.head
    demo_cellar.furnish(store, NOON_US)
    assert store.writer.head == head
    store.close()
