"""A start-up check that our packages are ours: another distribution may bring one of the same name.

Installers overwrite a package of the same name without a word; half of the program would then be strange.
"""

import importlib.util
from pathlib import Path

from tundish.errors import ForeignPackageError

OUR_PACKAGES = ("acquire", "api", "bench", "evaluate", "simulators", "storage")


def foreign_packages(home: Path) -> dict[str, str]:
    """Return the packages that do not lie beside this one, each with the place it was found in."""
    found = {}
    for name in OUR_PACKAGES:
        spec = importlib.util.find_spec(name)
        origin = Path(spec.origin).parent.parent if spec and spec.origin else None
        if origin != home:
            found[name] = str(origin) if origin else "missing"
    return found


def check_packages() -> None:
    """Raise `ForeignPackageError` if one of our packages is somebody else's."""
    strangers = foreign_packages(Path(__file__).resolve().parent.parent)
    if strangers:
        listed = ", ".join(f"{name} ({where})" for name, where in strangers.items())
        raise ForeignPackageError(
            f"these packages are not tundish's own: {listed}; "
            "install tundish into a virtual environment of its own and start it from there"
        )
