"""What is entered without a time happened now, and now is not in the future though the clock goes on."""

from storage.store import Store
from tests.fakes.rest import rest_on
from tests.fakes.wine_over_rest import LOT
from tests.unit.api.test_additions import enter, plan, weigh


def test_an_act_without_a_time_is_of_now(store: Store) -> None:
    with rest_on(store, tick_us=1) as rest:
        enter(rest)
        number = plan(rest)
        weigh(rest, number, 399.3)
        rest.post(f"/additions/{number}/done", {})
        assert rest.get(f"/additions/{number}")["state"] == "done"
        rest.post("/movements", {"kind": "loss", "to_lot": LOT, "parts": [{"lot": LOT, "volume_l": 1.0}]})
        rest.record("equipment", "bal-1", name="balance")
        rest.post("/equipment/bal-1/services", {"what": "levelled"})
