"""Kits: where they are found, where their faults are told, and that a run keeps the texts that it was started with."""

from __future__ import annotations

from pathlib import Path

import pytest
from water_trade import ADVISERS, water_job

from engine.book.book import Book
from engine.procedure.build.load import load, load_texts
from engine.procedure.report.checking import check_file, run_check
from engine.procedure.route.route import run_route
from engine.session.session import Answer, Session

FILE = """\
procedure: look
title: Look for drips
revision: 1
for: {family: any, carbs: 2}
uses: [valves]
start: gate
steps:
  gate:
    do: Look at it.
    read: [drips]
    branch:
      - {when: drips == 'no', go: done}
      - {when: drips == 'yes', go: wet}
  done: {end: ok, say: Dry.}
  wet: {end: failed, say: Wet.}
"""
KIT = """\
kit: valves
title: Valves
revision: 1
readings:
  drips: {ask: Does it drip?, choices: ['no', 'yes'], healthy: 'no'}
  never: {ask: Never asked, unit: mm, range: [0, 5], step: 0}
"""


def put(folder: Path, file: str = FILE, kit: str = KIT) -> Path:
    (folder / "kits").mkdir(parents=True, exist_ok=True)
    (folder / "kits" / "valves.yaml").write_text(kit, encoding="utf-8")
    (folder / "look.yaml").write_text(file, encoding="utf-8")
    return folder / "look.yaml"


def test_a_file_does_not_suffer_from_what_it_does_not_use(tmp_path: Path) -> None:
    assert check_file(put(tmp_path), (), ADVISERS).problems == ()


def test_a_kit_is_checked_whole_by_itself(tmp_path: Path) -> None:
    kit = put(tmp_path).parent / "kits" / "valves.yaml"
    (problem,) = check_file(kit, (), ADVISERS).problems
    assert (problem.code, problem.path, problem.span.line) == ("bad-number", str(kit), 6)
    text, code = run_check([tmp_path / "look.yaml", kit], (), ADVISERS)
    assert code == 1 and "bad-number" in text, "also where a file that uses it was checked before"
    kit.write_text(KIT.replace("step: 0", "step: 1"), encoding="utf-8")
    assert run_check([kit], (), ADVISERS)[0].startswith("Sound: every declaration holds by itself.")
    assert "drips  Does it drip?" in run_route(kit, (), ADVISERS)[0]


def test_a_fault_that_shows_only_in_use_is_told_in_the_kit_with_the_file_that_uses_it(tmp_path: Path) -> None:
    path = put(tmp_path, kit=KIT.replace("healthy: 'no'", "of: {carb: 3}"))
    (problem,) = check_file(path, (), ADVISERS).problems
    assert problem.code == "unknown-place" and problem.path.endswith("valves.yaml")
    assert (problem.span.line, "as `look` uses it" in problem.message) == (5, True)


def test_a_choice_that_a_kit_adds_is_a_gap_in_the_file(tmp_path: Path) -> None:
    path = put(tmp_path, kit=KIT.replace("['no', 'yes']", "['no', 'yes', 'it sprays']"))
    (problem,) = check_file(path, (), ADVISERS).problems
    assert problem.code == "uncovered-reading" and "it sprays" in problem.witness and problem.path == str(path)


def test_the_shops_kit_outranks_the_shipped_one(tmp_path: Path) -> None:
    shop, shipped = tmp_path / "shop", tmp_path / "shipped"
    put(shipped)
    put(shop, kit=KIT.replace("Does it drip?", "Is it wet?"))
    (shop / "look.yaml").unlink()
    loaded = load("look", [shop, shipped], ADVISERS)
    assert loaded.program is not None
    assert loaded.program.files["look"].readings["drips"].ask == "Is it wet?"
    loaded = load(shipped / "look.yaml", [], ADVISERS)
    assert loaded.program is not None
    assert loaded.program.files["look"].readings["drips"].ask == "Does it drip?", (
        "beside the file, where nobody searches"
    )


def test_kits_in_a_circle_are_told() -> None:
    texts = {
        "look": FILE,
        "kits/valves": KIT.replace("revision: 1", "revision: 1\nuses: [taps]"),
        "kits/taps": "kit: taps\ntitle: Taps\nrevision: 1\nuses: [valves]\n",
    }
    (problem,) = load_texts(texts, "look", ADVISERS).problems
    assert problem.code == "kit-cycle" and problem.path == "kits/taps.yaml"


@pytest.mark.parametrize(
    "text", ["kit: valves", "kit: [valves]", "kit: valves\nreadings: 3\n", "kit: {a: b}\nuses: x\n"]
)
def test_whatever_a_kit_holds_it_is_told_in_words(tmp_path: Path, text: str) -> None:
    path = put(tmp_path, kit=text)
    for file in (path, tmp_path / "kits" / "valves.yaml"):
        found = check_file(file, (), ADVISERS)
        assert all(p.message.endswith((".", ")")) for p in found.problems)
    assert not check_file(path, (), ADVISERS).sound


def test_a_run_keeps_the_kits_that_it_was_started_with(tmp_path: Path) -> None:
    path = put(tmp_path)
    program = check_file(path, (), ADVISERS).program
    assert program is not None
    book = Book.memory()
    run = Session.start(program, water_job(), book=book, advisers=ADVISERS)
    (tmp_path / "kits" / "valves.yaml").unlink()
    again = Session.reopen(book, run.run, advisers=ADVISERS)
    assert again.view.read[0].ask == "Does it drip?"
    again.answer(Answer(readings={"drips": "no"}))
    assert again.over
    put(tmp_path, kit=KIT.replace("Does it drip?", "Is it wet?"))
    other = check_file(path, (), ADVISERS).program
    assert other is not None and other.sha256 != program.sha256


def test_a_name_is_looked_for_under_every_key_that_can_hold_one() -> None:
    """Keys of expressions and of names, but for those that name something which no kit declares."""
    from engine.procedure.build.kits import NAMING
    from engine.procedure.model import file, steps
    from engine.procedure.model.base import Part
    from engine.procedure.model.leaves import Expression, Name

    others = {"make", "as", "name", "adviser", "cautions"}  # advice, results, advisers; all cautions are taken
    tables = {"terms", "words", "facts", "settings", "parameters", "screws", "readings", "symptoms", "ends"}
    found = set()
    for room in (file, steps):
        for part in vars(room).values():
            if isinstance(part, type) and issubclass(part, Part) and part not in (Part, file.KitPart):
                for name, field in part.model_fields.items():
                    kinds = str(field.annotation) + str(field.metadata)
                    if str(Expression.__metadata__[0]) in kinds or str(Name.__metadata__[0]) in kinds:
                        found.add(field.alias or name)
    assert len(found) > 15
    assert found - tables - others == NAMING - {"state"}, "`state` holds an expression: a speed"
