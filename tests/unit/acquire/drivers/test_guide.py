"""What the guide for writers of drivers says is so."""

import re
from pathlib import Path

import pytest

from acquire.drivers.data_only import factory_from_text
from acquire.drivers.definition import Definition
from acquire.drivers.expected import Example, ExpectedNotice, ExpectedReading
from acquire.drivers.fields import KINDS
from acquire.drivers.framing_tables import Framing
from acquire.reasons import PLAIN_WORDS

GUIDE = (Path(__file__).parents[4] / "docs" / "writing-a-driver.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)


def test_the_guide_has_ten_examples() -> None:
    assert len(EXAMPLES) == 10


@pytest.mark.parametrize("text", EXAMPLES)
def test_every_example_of_the_guide_is_a_driver(text: str) -> None:
    assert factory_from_text(text, "docs/writing-a-driver.md").identity.definition == text


def test_the_guide_names_every_table_key_kind_and_reason() -> None:
    names = {*Definition.model_fields, *KINDS, *PLAIN_WORDS}
    for model in (Framing, Example, ExpectedReading, ExpectedNotice):
        names |= set(model.model_fields)
    for field in Definition.model_fields.values():
        for model in (field.annotation, *getattr(field.annotation, "__args__", ())):
            names |= set(getattr(model, "model_fields", {}))
    missing = sorted(name for name in names if not re.search(rf"[`.\[]{name}[`.\]]", GUIDE))
    assert missing == []
