"""A number in a body is a number: true, false and text are refused, however deep they lie."""

from collections.abc import Sequence
from typing import Annotated

import httpx
import pytest
from pydantic import Field, ValidationError

from api.parameters import Moment
from api.schemas.common import Body


class Sent(Body):
    """Numbers in every place that bodies have."""

    plain: float = 0
    bounded: Annotated[float, Field(ge=0)] | None = None
    count: int = 0
    many: list[float] = Field(default=[])
    pairs: Sequence[tuple[float, float]] = ()
    named: dict[str, float] = Field(default={})
    at: Moment | None = None
    words: str = ""
    either: float | str = 0
    yes: bool = False


@pytest.mark.parametrize("wrong", [True, False, "1", "", "1e3"])
@pytest.mark.parametrize("name", ["plain", "bounded", "count"])
def test_what_only_looks_like_a_number_is_refused(name: str, wrong: object) -> None:
    with pytest.raises(ValidationError, match="wants a number, not true, false or text"):
        Sent.model_validate({name: wrong})


@pytest.mark.parametrize("body", [{"many": [1, True]}, {"pairs": [[1, "2"]]}, {"named": {"a": False}}])
def test_it_is_refused_inside_lists_pairs_and_tables(body: dict[str, object]) -> None:
    with pytest.raises(ValidationError, match="wants a number"):
        Sent.model_validate(body)


def test_numbers_words_times_and_marks_are_taken_as_they_are() -> None:
    sent = Sent.model_validate(
        {
            "plain": 1,
            "bounded": None,
            "count": 7,
            "many": [1, 2.5],
            "pairs": [[1, 2]],
            "named": {"a": 0},
            "at": "2025-10-03T08:15:30Z",
            "words": "1",
            "either": "1",
            "yes": True,
        }
    )
    assert (sent.plain, sent.at, sent.either, sent.yes) == (1.0, 1_759_479_330_000_000, "1", True)


async def test_a_mass_of_false_is_no_mass_of_nothing(client: httpx.AsyncClient) -> None:
    answer = await client.post(
        "/api/v1/mass-checks",
        json={"at": "2025-10-03T08:15:30Z", "instrument": "b", "known_g": 100.0, "found_g": False},
        headers={"Tundish-Actor": "AB"},
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == "found_g"
