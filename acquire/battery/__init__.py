"""The battery: laws that every driver must keep, ours or a stranger's.

``tundish check DRIVER`` runs it from the command line. A test of your own package runs it like this::

    from acquire.battery import LAWS, subject_of

    @pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)
    def test_my_driver_keeps(law):
        law(subject_of(my_factory))
"""

from acquire.battery.laws import LAWS
from acquire.battery.subject import BrokenLawError, Law, Subject, subject_of

__all__ = ["LAWS", "BrokenLawError", "Law", "Subject", "subject_of"]
