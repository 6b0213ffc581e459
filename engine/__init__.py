"""Evendraw without a terminal: the procedure language, the run, the record, the advisers, the virtual engine."""

#: The program's version, as in pyproject.toml; written down with every run.
VERSION = "0.1.0"
