"""Which store a configuration names, with the password that stands elsewhere."""

from pathlib import Path

from tundish.config import StoreConfig
from tundish.config_faults import ConfigError
from tundish.errors import PasswordError
from tundish.passwords import read_password


def store_address(store: StoreConfig, folder: Path) -> Path | str:
    """Return the address of the store; relative paths count from `folder`.

    Raises
    ------
    ConfigError
        If the password cannot be had.
    """
    if store.url is None:
        return folder / store.path
    try:
        password = read_password(store.password_env, store.password_file, folder)
    except PasswordError as error:
        raise ConfigError("store", [str(error)]) from error
    return store.url.get_secret_value() if password is None else _with(store.url.get_secret_value(), password)


def _with(url: str, password: str) -> str:
    from sqlalchemy import make_url

    return make_url(url).set(password=password).render_as_string(hide_password=False)
