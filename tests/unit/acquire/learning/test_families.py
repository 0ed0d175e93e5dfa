"""The law of the learner: what a driver of each layout family sends is learnt back to equal readings."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.drivers.data_only import factory_from_text
from acquire.learning.learn import learn
from acquire.learning.report import Standing
from tests.unit.acquire.learning.made import FAMILIES, Made, learnt_readings, readings_from


@pytest.mark.parametrize("family", FAMILIES)
@given(draw=st.data())
@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
def test_what_it_sends_is_learnt_back_to_equal_readings(family: str, draw: st.DataObject) -> None:
    made: Made = draw.draw(FAMILIES[family])
    proposal = learn(made.data, laws=())
    assert proposal.standing is Standing.GOOD, proposal
    begin = proposal.held_out_from
    wanted = readings_from(made.events(), begin)
    assert wanted
    got = learnt_readings(factory_from_text(proposal.driver, "learnt.toml"), made.data, begin)
    assert got == wanted, proposal.driver


@pytest.mark.parametrize("family", FAMILIES)
@given(draw=st.data())
@settings(max_examples=1, deadline=None, suppress_health_check=list(HealthCheck))
def test_what_is_proposed_keeps_every_law_of_the_battery(family: str, draw: st.DataObject) -> None:
    made: Made = draw.draw(FAMILIES[family])
    proposal = learn(made.data)
    assert proposal.standing is Standing.GOOD, proposal.why
    assert "keeps every law" in proposal.why
