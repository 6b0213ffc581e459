"""Opens what was kept of a state: its book, its runs, its shop; it judges nothing."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import procedures
from tui.commandline.places import Places, shop_settings

SHIPPED = Path(procedures.__file__ or "").parent
#: Every state that was recorded.
STATES = tuple(sorted(p for p in Path(__file__).parent.glob("state_*") if p.is_dir()))


def settings_of(folder: Path) -> dict[str, Any]:
    """The settings of the shop that was kept."""
    nowhere = folder / "none"
    return shop_settings(Places(nowhere, folder / "shop", SHIPPED, nowhere, nowhere))


def book_of(folder: Path, to: Path) -> Path:
    """The kept book as a file at `to`; the kept one is never opened."""
    to.write_bytes(gzip.decompress((folder / "jobs.book.gz").read_bytes()))
    return to


def rows_of(folder: Path, name: str) -> list[dict[str, Any]]:
    """The lines of a kept `.jsonl.gz`."""
    return [json.loads(row) for row in gzip.decompress((folder / name).read_bytes()).splitlines()]


def json_of(folder: Path, name: str) -> Any:
    """A kept JSON file."""
    return json.loads((folder / name).read_text(encoding="utf-8"))
