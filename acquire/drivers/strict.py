"""What all parts of a driver file share: nothing unknown, nothing converted, nothing changed later."""

from pydantic import BaseModel, ConfigDict


class StrictModel(BaseModel):
    """A frozen table of a driver file; an unknown key or a value of another type is refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
