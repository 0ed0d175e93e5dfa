"""The version of this program, as it was installed."""

from importlib.metadata import PackageNotFoundError, version


def software_version() -> str:
    """Return the version of the installed distribution, or ``0+source`` where it is not installed."""
    try:
        return version("tundish")
    except PackageNotFoundError:
        return "0+source"
