"""Whether a driver reads what comes first, or refuses it because it may be the second half of something."""

from acquire.driver import DriverFactory
from acquire.drivers.data_only import DataOnlyFactory
from acquire.drivers.trust import first_frame_is_sure


def begins_surely(factory: DriverFactory) -> bool:
    """Tell whether the first frame of a capture is read; of drivers made of code it is taken for granted."""
    if not isinstance(factory, DataOnlyFactory):
        return True
    distrust = factory.definition.framing.distrust_first
    return first_frame_is_sure(factory.definition) if distrust is None else not distrust
