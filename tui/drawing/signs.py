"""Signs and roles of severities and signal words: each has a word and a sign, so that none needs its colour."""

from __future__ import annotations

#: A severity's sign, which stands in front of its word.
SIGNS = {"note": "i", "adjust": "~", "change part": "#", "stop": "!"}
SEVERITY_ROLE = {"note": "soft", "adjust": "amber", "change part": "amber", "stop": "red"}
SIGNAL_ROLE = {"danger": "danger", "warning": "warning", "caution": "amber", "notice": "mark"}
