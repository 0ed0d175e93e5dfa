"""What a configuration says of publishing: the table ``[publish]``."""

from pydantic import Field

from tundish.line_config import LEVELS, NAME, BrokerConfig


class PublishConfig(BrokerConfig):
    """Where readings and results are published."""

    site: str = Field(pattern=NAME)
    """Name of this bench; no other daemon may publish under it to the same broker."""
    root: str = Field(default="tundish", pattern=LEVELS, max_length=200)
    """What all topics begin with."""
    from_beginning: bool = False
    """At the first start, publish what the store holds already, and not only what comes from then on."""
    captures: bool = False
    """Publish every byte of every line too, for a daemon elsewhere that collects them."""
