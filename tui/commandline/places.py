"""Where things are kept: job book, shop folder, shipped procedures, log; it makes no folder and opens no book.

What the command line says comes first, then the environment, then the place that the system has for such things.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

APP = "evendraw"


class BadSettings(ValueError):
    """The shop's settings file can't be used; the message has every fault at its place."""


class NoSettings(ValueError):
    """The settings file is there and holds nothing; the message says so."""


class NoPlace(ValueError):
    """What was named is no place on this PC; the message says why."""


@dataclass(frozen=True, slots=True)
class Places:
    """The paths in force. `shop` holds the shop's own procedures and its `settings.yaml`; both may be missing."""

    book: Path
    shop: Path
    shipped: Path
    jobs: Path
    log: Path

    @property
    def search(self) -> tuple[Path, ...]:
        """Where procedures are looked for by name: the shop's own outrank the shipped ones."""
        return (self.shop, self.shipped)

    @property
    def settings(self) -> Path:
        """The shop's values of settings."""
        return self.shop / "settings.yaml"


def places(book: str | None = None, shop: str | None = None) -> Places:
    """The paths in force, from what the command line gave, or else EVENDRAW_BOOK, EVENDRAW_SHOP, EVENDRAW_LOG."""
    # 6 ms, and only for commands that keep or find something.
    from platformdirs import user_config_path, user_data_path, user_log_path

    def chosen(given: str | None, variable: str, usual: Path) -> Path:
        named = given or os.environ.get(variable)
        if not named:
            return usual
        if "\0" in named:
            raise NoPlace(f"'{named[:60]}' is no path: it holds a NUL. Name another.")
        try:
            return Path(named).expanduser()
        except RuntimeError:
            raise NoPlace(f"'{named[:60]}': there is no such user on this PC. Write the path out.") from None

    data = user_data_path(APP, appauthor=False)
    return Places(
        book=chosen(book, "EVENDRAW_BOOK", data / "jobs.book"),
        shop=chosen(shop, "EVENDRAW_SHOP", user_config_path(APP, appauthor=False)),
        shipped=shipped(),
        jobs=chosen(None, "EVENDRAW_JOBS", data / "jobs"),
        log=chosen(None, "EVENDRAW_LOG", user_log_path(APP, appauthor=False)),
    )


def shipped() -> Path:
    """The folder of the shipped procedures."""
    import procedures

    return Path(procedures.__file__ or "").parent


def shop_settings(found: Places) -> dict[str, Any]:
    """The shop's values of settings by name, as text; empty where there is no such file.

    Raises `BadSettings`, and `NoSettings` where it holds nothing but comments.
    """
    from engine.procedure.source.files import read_source
    from engine.procedure.source.problems import Problem
    from engine.procedure.source.tree import Scalar, read_tree

    path = found.settings
    if not os.path.lexists(path):
        return {}
    source = read_source(path)
    if isinstance(source, Problem):
        raise BadSettings(str(source))
    tree, faults = read_tree(source)
    faults += [
        Problem(
            "wrong-shape", str(path), tree.key_span(str(key)), f"'{key}' needs one value, such as `{key}: 0.5 kg/h`."
        )
        for key, value in (tree or {}).items()
        if not isinstance(value, Scalar)
    ]
    if all(not line.strip() or line.lstrip().startswith("#") for line in source.text.splitlines()):
        raise NoSettings(f"{path} holds no settings: every value is what the procedure says.")
    if faults or tree is None:
        raise BadSettings("\n".join(map(str, faults)))
    return {str(k): str(v) for k, v in tree.items()}
