"""The settings of the shipped files agree with the vocabulary of the trade, and each says where its number comes from.

That the vocabulary agrees with the world is checked in `tests/published`.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from engine.quantity.units import parse_quantity, to_base
from engine.vocabulary.screws import MIXTURE_SCREWS

BANDS = {s.name: s.band for s in MIXTURE_SCREWS if s.band}
PROCEDURES = Path(__file__).resolve().parents[3] / "procedures"
SETTINGS = {
    (path.stem, name): setting
    for path in sorted(PROCEDURES.rglob("*.yaml"))
    for name, setting in (YAML(typ="safe").load(path.read_text(encoding="utf-8")).get("settings") or {}).items()
}
#: Where on a band a setting stands, by its name.
ENDS: dict[str, Any] = {
    f"{what}_{end}": at
    for what in ("mixture", "pilot", "volume")
    for end, at in (("low", lambda b: b.rest[0]), ("high", lambda b: b.rest[1]), ("start", lambda b: b.start))
} | {"doubt_low": lambda b: b.doubt[0], "doubt_high": lambda b: b.doubt[1]}
OF_A_BAND = {key: ENDS[key[1]] for key in SETTINGS if key[1] in ENDS}


def by_screw(setting: dict[str, Any]) -> dict[str, Fraction]:
    """A table by kind of screw as numbers; one value stands for the fuel screw."""
    told = {"fuel screw": setting["value"]} if "value" in setting else {k: setting[k] for k in setting if k in BANDS}
    return {screw: to_base(*parse_quantity(str(value))) for screw, value in told.items()}


@pytest.mark.parametrize("key", OF_A_BAND, ids=" ".join)
def test_a_setting_of_a_band_is_that_of_the_vocabulary(key: tuple[str, str]) -> None:
    table = by_screw(SETTINGS[key])
    assert table
    assert table == {screw: OF_A_BAND[key](BANDS[screw]) for screw in table}


@pytest.mark.parametrize("key", SETTINGS, ids=" ".join)
def test_every_setting_says_where_its_number_comes_from(key: tuple[str, str]) -> None:
    source = str(SETTINGS[key]["source"])
    assert source.startswith(("published: S", "from memory", "common practice", "derived", "assumed")), source
