"""Loads the helpers beside this file, and the shipped procedures, for the tests of this folder."""

import importlib.util
import sys
from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.job.model import Job

for _name in ("explorer", "closed"):
    if _name not in sys.modules:
        _spec = importlib.util.spec_from_file_location(_name, Path(__file__).with_name(f"{_name}.py"))
        _module = importlib.util.module_from_spec(_spec)
        sys.modules[_name] = _module
        _spec.loader.exec_module(_module)

PROCEDURES = Path(__file__).parents[3] / "procedures"


@pytest.fixture(scope="session")
def folder() -> Path:
    """Where the shipped procedures lie."""
    return PROCEDURES


@pytest.fixture(scope="session")
def advisers():
    """The advisers that come with the program."""
    return shipped()


@pytest.fixture(scope="session")
def invented():
    """Makes an invented job: a bank given by keys, one cylinder a barrel unless said otherwise."""

    def make(settings=None, instruments=None, **bank) -> Job:
        bank = {"family": "twin-choke sidedraught", "carbs": 2, "barrels_per_carb": 2, "idle_jet": 50} | bank
        cylinders = 4 if bank.get("manifold") == "shared" else bank["carbs"] * bank["barrels_per_carb"]
        return Job.model_validate(
            {
                "title": "Invented",
                "engine": {"cylinders": cylinders, "displacement": f"{cylinders * 400} cc", "idle_speed": "950 rpm"},
                "bank": bank,
                "instruments": instruments or {},
                "settings": settings or {},
            }
        )

    return make
