"""The catalogue of what the advisers' findings say, read from `findings.yaml` when a finding is first said."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from engine.wording import Catalogue, Sentence


@cache
def sentences() -> Catalogue:
    """Every sentence, by a finding's code and the way it came about ("" where there is one way only)."""
    from ruamel.yaml import YAML

    raw = YAML(typ="safe").load(Path(__file__).with_name("findings.yaml"))
    return {
        code: {"": Sentence(**told)} if "say" in told else {way: Sentence(**one) for way, one in told.items()}
        for code, told in raw.items()
    }
