"""Our packages must be ours."""

from pathlib import Path

import pytest

from tundish import packages
from tundish.errors import ForeignPackageError


def test_packages_beside_the_program_are_its_own() -> None:
    packages.check_packages()


def test_a_package_from_elsewhere_is_named_with_its_place(tmp_path: Path) -> None:
    strangers = packages.foreign_packages(tmp_path)
    assert set(strangers) == set(packages.OUR_PACKAGES)
    assert all(Path(place).is_dir() for place in strangers.values())


def test_the_error_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packages, "OUR_PACKAGES", ("json",))
    with pytest.raises(ForeignPackageError, match=r"json \(.*\); install tundish into a virtual env"):
        packages.check_packages()
