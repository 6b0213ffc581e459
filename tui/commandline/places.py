"""Where things are kept: job book, shop folder, shipped procedures, log; it makes no folder and opens no book.

What the command line says comes first, then the environment, then the place that the system has for such things.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from engine.quantity.chosen import ChosenUnits

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

    if shop is not None and not _is_folder(Path(shop).expanduser()):
        raise NoPlace(f"'{shop[:60]}' is no folder that can be opened. Make it, or give the shop's own with --shop.")
    data = user_data_path(APP, appauthor=False)
    return Places(
        book=chosen(book, "EVENDRAW_BOOK", data / "jobs.book"),
        shop=chosen(shop, "EVENDRAW_SHOP", user_config_path(APP, appauthor=False)),
        shipped=shipped(),
        jobs=chosen(None, "EVENDRAW_JOBS", data / "jobs"),
        log=chosen(None, "EVENDRAW_LOG", user_log_path(APP, appauthor=False)),
    )


def standing(path: Path) -> str:
    """What is to be said behind a path: nothing where it is there, else whether it is missing or can't be reached."""
    try:
        path.stat()
    except FileNotFoundError:
        return "  (a link to what is not there)" if os.path.lexists(path) else "  (not there yet)"
    except NotADirectoryError:
        return "  (can't be: what it should lie in is a file)"
    except PermissionError:
        return "  (can't be reached: this user may not look there)"
    except (OSError, RuntimeError, ValueError) as fault:
        return f"  (can't be reached: {getattr(fault, 'strerror', None) or fault})"
    return ""


def _is_folder(path: Path) -> bool:
    try:
        return path.resolve(strict=True).is_dir()
    except (OSError, RuntimeError):  # not there, or links that lead in a circle
        return False


def shipped() -> Path:
    """The folder of the shipped procedures."""
    import procedures

    return Path(procedures.__file__ or "").parent


#: What a shop may say of itself in `settings.yaml` under `shop`: its name and what else stands on top of a job sheet.
SHOP = ("name", "address", "telephone", "note", "paper", "bell", "dangers")


#: What some of them may be, the usual first. `dangers`: how often the same one is to be understood.
_WAYS = {"paper": ("A4", "Letter"), "bell": ("on", "off"), "dangers": ("once", "each start")}
#: Keys of `settings.yaml` that are no settings of procedures.
ABOUT = frozenset({"shop", "units"})


def shop_settings(found: Places) -> dict[str, Any]:
    """The shop's values of settings by name, as text; empty where there is no such file.

    Raises `BadSettings`, and `NoSettings` where it holds nothing but comments.
    """
    from engine.procedure.source.problems import Problem
    from engine.procedure.source.tree import Scalar

    tree, faults = _settings_tree(found)
    path = found.settings
    faults += [
        Problem(
            "wrong-shape", str(path), tree.key_span(str(key)), f"'{key}' needs one value, such as `{key}: 0.5 kg/h`."
        )
        for key, value in (tree or {}).items()
        if not isinstance(value, Scalar) and str(key) not in ABOUT
    ]
    if faults:
        raise BadSettings("\n".join(map(str, faults)))
    return {str(k): str(v) for k, v in (tree or {}).items() if str(k) not in ABOUT}


def shop_units(found: Places) -> ChosenUnits:
    """The units that the shop is shown and types, `units` of its settings. Raises `BadSettings`, `NoSettings`."""
    from engine.procedure.source.problems import Problem
    from engine.procedure.source.tree import Map, Scalar
    from engine.quantity.chosen import NoSuchUnit, choose
    from engine.vocabulary.vocabulary import SHIPPED

    tree, faults = _settings_tree(found)
    told = next((v for k, v in (tree or {}).items() if str(k) == "units"), Map())
    path = str(found.settings)
    if not isinstance(told, Map):
        faults.append(Problem("wrong-shape", path, tree.key_span("units"), "'units' holds lines like `pressure: psi`."))
    words = {str(k): str(v) for k, v in told.items() if isinstance(v, Scalar)} if isinstance(told, Map) else {}
    try:
        chosen = choose(words, {q.name: q.unit for q in SHIPPED.quantities.values()})
    except NoSuchUnit as fault:
        faults.append(Problem("unknown-unit", path, tree.key_span("units"), str(fault)))
    if faults:
        raise BadSettings("\n".join(map(str, faults)))
    return chosen


def shop_header(found: Places) -> dict[str, str]:
    """What the shop says of itself (`SHOP`), as text. Raises `BadSettings`."""
    from engine.procedure.source.problems import Problem, did_you_mean
    from engine.procedure.source.tree import Map, Scalar

    tree, faults = _settings_tree(found)
    told = next((v for k, v in (tree or {}).items() if str(k) == "shop"), None)
    if told is not None and not isinstance(told, Map):
        faults.append(
            Problem("wrong-shape", str(found.settings), tree.key_span("shop"), "'shop' holds name, address and so on.")
        )
    header: dict[str, str] = {}
    shop = told if isinstance(told, Map) else Map()
    for key, value in shop.items():
        if str(key) not in SHOP or not isinstance(value, Scalar):
            hint = did_you_mean(str(key), SHOP)
            said = f"'{key}' is none of a shop's. {hint}"
            faults.append(Problem("unknown-key", str(found.settings), shop.key_span(str(key)), said))
        else:
            header[str(key)] = str(value)
    for name, ways in _WAYS.items():
        if header.get(name, ways[0]) not in ways:
            said = f"'{name}' is {' or '.join(ways)}."
            faults.append(Problem("wrong-shape", str(found.settings), shop.key_span(name), said))
    if faults:
        raise BadSettings("\n".join(map(str, faults)))
    return header


def _settings_tree(found: Places) -> tuple[Any, list[Any]]:
    """The settings file as a tree with its faults; None where there is no such file. Raises as `shop_settings` does."""
    from engine.procedure.source.files import read_source
    from engine.procedure.source.problems import Problem
    from engine.procedure.source.tree import read_tree

    path = found.settings
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None, []
    except OSError as fault:
        # Silence would put the shop's own tolerances out of force.
        raise BadSettings(
            f"{path} can't be reached: {fault.strerror}. Give this user the right to it, or name another folder with "
            "--shop or EVENDRAW_SHOP."
        ) from None
    source = read_source(path)
    if isinstance(source, Problem):
        raise BadSettings(str(source))
    if all(not line.strip() or line.lstrip().startswith("#") for line in source.text.splitlines()):
        raise NoSettings(f"{path} holds no settings: every value is what the procedure says.")
    return read_tree(source, "tolerance: 4 %")
