"""The trade's words: one vocabulary, closed against slips, open by declaration."""

from __future__ import annotations

import io
from contextlib import redirect_stderr, redirect_stdout
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from engine.bench.plant import assumed
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.carburation.rules.bands import band_of
from engine.job import job_file
from engine.job.model import Job
from engine.procedure.build.facts import fact_type
from engine.procedure.report.checking import check_file
from engine.run.bind import NotForThisJob
from engine.session.session import Answer, Session
from engine.vocabulary.entries import Quantity
from engine.vocabulary.screws import ALSO_CALLED, MIXTURE_SCREWS
from engine.vocabulary.vocabulary import SHIPPED, mixture_screw_name
from tui.catalogue.families import families
from tui.commandline import cli

FILE = """procedure: shop
title: Shop
revision: 1
for: {family: any, carbs: 2}
%s
readings:
  seen: {ask: Seen, %s choices: [well, worn], healthy: well}
start: one
steps:
  one:
    %s
    do: Look at it.
    read: [seen]
    record: as left
    go: done
  done: {end: ok, say: Done.}
"""


def written(folder: Path, head: str = "", quantity: str = "", step: str = "title: One") -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / "shop.yaml"
    path.write_text(FILE % (head, quantity, step), encoding="utf-8", newline="\n")
    return path


def problems(path: Path, folder: Path | None = None) -> list[str]:
    return [
        f"{p.severity} {p.code}: {p.message} {p.hint}".strip()
        for p in check_file(path, [folder or path.parent], shipped()).problems
    ]


# ---- closed against slips


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"step": "state: {engine: runing}"}, "unknown-word: `engine` is never `runing`. Did you mean 'running'?"),
        ({"step": "state: {engin: running}"}, "Nobody declares the state `engin`. Did you mean 'engine'?"),
        ({"step": "state: {coupling: loose}"}, "`coupling` is never `loose`. It can be on, off."),
        ({"step": "state: {hold: 1.8 bar}"}, "unit-mismatch: This is pressure; speed belongs here."),
        ({"step": "hazards: [feul]"}, "Nobody declares the hazard `feul`. Did you mean 'fuel'?"),
        ({"quantity": "quantity: airleak,"}, "Nobody declares the quantity `airleak`. Did you mean 'air leak'?"),
        (
            {"head": "cautions:\n  smoke: {word: danger, text: No., demanded_by: ['engine: runing']}"},
            "Nobody declares the state `engine: runing`. Did you mean 'engine: running'?",
        ),
        ({"head": "declares: {families: {}, hazzards: {}}"}, "`hazzards` is no key of `declares`."),
    ],
)
def test_what_nobody_declared_is_an_error_with_the_nearest_name(tmp_path: Path, said: Any, told: str) -> None:
    found = problems(written(tmp_path, **said))
    assert any(told in p for p in found if p.startswith("error")), found


@pytest.mark.parametrize(("family", "severity"), [("constant depresion", "error"), ("four-barrel row", "warning")])
def test_a_family_near_to_a_known_one_is_a_slip_and_any_other_a_shops_own(
    tmp_path: Path, family: str, severity: str
) -> None:
    path = written(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("family: any", f"family: {family}"), encoding="utf-8")
    assert [p.partition(":")[0] for p in problems(path)] == [f"{severity} unknown-family"]


def test_a_reading_has_the_unit_of_its_quantity(tmp_path: Path) -> None:
    path = written(tmp_path, quantity="quantity: engine speed, unit: kg/h, range: [0, 20]} #")
    assert any("Engine speed is measured in rpm, not in kg/h." in p for p in problems(path))


@pytest.mark.parametrize(
    ("bank", "told"),
    [
        (
            "mixture_screw: short tapr",
            "Nobody declares the kind of mixture screw 'short tapr'. Did you mean 'short taper'?",
        ),
        ("family: motorcycle bnak", "Nobody declares the family 'motorcycle bnak'. Did you mean 'motorcycle bank'?"),
        ("air_bypas_screws: true", "`bank.air_bypas_screws` is no key of a job. Did you mean 'air_bypass_screws'?"),
    ],
)
def test_a_slip_in_a_job_file_is_told_at_its_place(bank: str, told: str) -> None:
    key = bank.partition(":")[0]
    rest = {"family": "family: motorcycle bank"}
    rest[key] = bank
    text = (
        "engine: {cylinders: 2, displacement: 700 cc, idle_speed: 1100 rpm}\n"
        "bank:\n  carbs: 2\n  " + "\n  ".join(rest.values()) + "\n"
    )
    with pytest.raises(job_file.BadJob) as bad:
        job_file.parse(text)
    (problem,) = bad.value.problems
    assert f"{problem.message} {problem.hint}" == told
    assert text.splitlines()[problem.span.line - 1].strip() == bank


# ---- one list of each


def test_every_kind_of_mixture_screw_is_known_everywhere() -> None:
    kinds = {s.name for s in MIXTURE_SCREWS}
    assert set(fact_type("bank.mixture_screw")[0].choices) == kinds
    assert set(assumed.BAND) == set(assumed.SCREW_SLOPE) == kinds
    offered = [set(f.screws) for f in families([Path(__file__).resolve().parents[2] / "procedures"])]
    assert set().union(*offered) == kinds and all(offered), "each family offers kinds of its own, together they are all"


@pytest.mark.parametrize(("said", "meant"), sorted(ALSO_CALLED.items()))
def test_a_kind_that_is_also_called_otherwise_is_said_by_its_one_name(said: str, meant: str) -> None:
    assert mixture_screw_name(said) == meant
    assert meant in SHIPPED.mixture_screws and said not in SHIPPED.mixture_screws
    job = job_file.parse(
        "engine: {cylinders: 2, displacement: 700 cc, idle_speed: 1100 rpm}\n"
        f"bank: {{family: motorcycle bank, carbs: 2, mixture_screw: '{said}'}}\n"
    )
    assert job.bank.mixture_screw == meant
    assert f"mixture_screw: {meant}" in job_file.write(job)


def test_every_quantity_that_an_adviser_takes_is_in_the_vocabulary() -> None:
    taken = {q for a in shipped().values() for i in a.inputs.values() for q in i.quantities}
    assert taken <= set(SHIPPED.quantities)


def test_every_entry_says_what_it_needs_in_words_of_the_vocabulary_and_where_it_is_from() -> None:
    for quantity in SHIPPED.quantities.values():
        assert quantity.hazard is None or quantity.hazard in SHIPPED.hazards
        if quantity.needs is not None:
            assert quantity.needs[1] in SHIPPED.states[quantity.needs[0]].choices
    for instrument in SHIPPED.instruments.values():
        assert instrument.quantity in SHIPPED.quantities
    labels = ("published", "common practice", "from memory", "derived", "assumed", "limits published", "sign reversal")
    tables = (SHIPPED.states, SHIPPED.quantities, SHIPPED.hazards, SHIPPED.families, SHIPPED.mixture_screws)
    for table in (*tables, SHIPPED.air_screws, SHIPPED.instruments):
        for entry in table.values():
            assert entry.source.startswith(labels), entry


def test_a_declared_word_takes_nothing_away_from_one_of_the_trade() -> None:
    looser = SHIPPED.with_more(quantities=[Quantity("fuel pressure", "bar"), Quantity("airflow", "L/min")])
    assert looser.quantities["fuel pressure"].hazard == "fuel"
    assert looser.quantities["airflow"].needs == ("engine", "running")


# ---- open by declaration

VOCABULARY = """\
states:
  lid: [open, shut]
quantities:
  flap angle: {unit: deg, range: [0, 90], needs: {lid: open}, hazard: spring}
hazards:
  spring: It flies off.
families:
  sample quad: Four bodies, invented.
screws:
  sample needle: {out: richer, start: 4 turn, rest: [3, 5], doubt: [2.5, 6], source: from memory}
"""
QUAD = """\
procedure: quad
title: Quad
revision: 1
for: {family: sample quad, carbs: 4}
cautions:
  flies: {word: warning, text: It flies off. Glasses on., demanded_by: [spring]}
facts:
  kind: {is: bank.mixture_screw, choices: [sample needle, long taper]}
settings:
  low: {by: kind, sample needle: 3 turn, long taper: 2 turn, range: [0, 6], source: from memory}
readings:
  angle: {ask: Angle of the flap, quantity: flap angle, unit: deg, range: [0, 90]}
start: one
steps:
  one:
    state: {lid: open}
    hazards: [spring]
    do: Lay the gauge on. The screw rests at {low} and more.
    read: [angle]
    branch: [{when: angle > 10, go: done}, {otherwise: done}]
  done: {end: ok, say: Done.}
"""
JOB = """\
engine: {cylinders: 4, displacement: 1100 cc, idle_speed: 1000 rpm}
bank: {family: sample quad, carbs: 4, mixture_screw: sample needle}
"""


def shop(folder: Path) -> Path:
    folder.mkdir()
    for name, text in (("vocabulary", VOCABULARY), ("quad", QUAD), ("job", JOB)):
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")
    return folder


def evendraw(*arguments: str) -> tuple[int, str]:
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = cli.main(arguments)
    return code, out.getvalue() + err.getvalue()


def test_a_shops_folder_adds_a_state_a_quantity_a_hazard_a_family_and_a_kind_of_screw(tmp_path: Path) -> None:
    folder = shop(tmp_path / "shop")
    assert problems(folder / "quad.yaml") == []
    assert evendraw("check", "quad", "--shop", str(folder))[0] == cli.Exit.OK
    (family,) = (f for f in families([folder]) if f.name == "sample quad")
    assert "sample needle" in family.screws
    # Each is a slip without the shop's declarations.
    (folder / "vocabulary.yaml").unlink()
    said = " ".join(problems(folder / "quad.yaml"))
    for word in ("`sample quad`", "`spring`", "`flap angle`", "`lid`", "what `bank.mixture_screw` can be"):
        assert word in said, said


def test_a_quantity_that_needs_a_declared_state_is_proved_to_have_it(tmp_path: Path) -> None:
    folder = shop(tmp_path / "shop")
    path = folder / "quad.yaml"
    path.write_text(QUAD.replace("lid: open", "lid: shut"), encoding="utf-8")
    assert any("read in 'one' while `lid: shut` holds" in p for p in problems(path))
    path.write_text(QUAD.replace("    state: {lid: open}\n", ""), encoding="utf-8")
    assert any("has not said how `lid` stands" in p for p in problems(path))


def test_the_band_of_a_declared_kind_is_kept_with_the_run(tmp_path: Path) -> None:
    folder = shop(tmp_path / "shop")
    found = check_file(folder / "quad.yaml", [folder], shipped())
    from engine.procedure.build.vocabulary import of_folders

    job = job_file.read(folder / "job.yaml", of_folders([folder])[0])
    book = Book.memory()
    session = Session.start(found.program, job, book=book, advisers=shipped())
    assert session.view.do == "Lay the gauge on. The screw rests at 3 turns and more."
    session.answer(Answer(readings={"angle": 20}))
    (folder / "vocabulary.yaml").unlink()
    again = Session.reopen(book, session.run, advisers=shipped())
    assert again.over
    band = band_of(again.plan.job)
    assert band is not None and band.rest == (3, 5) and band.doubt == (Fraction(5, 2), 6)
    assert band.jet(7) == "too small"


def test_a_kind_that_only_another_shop_declares_is_refused_before_the_run(tmp_path: Path) -> None:
    folder = shop(tmp_path / "shop")
    (tmp_path / "job.yaml").write_text(JOB, encoding="utf-8")
    code, said = evendraw("talk", "twin-choke-sidedraught", "--job", str(tmp_path / "job.yaml"))
    assert code == cli.Exit.USAGE and "Nobody declares the kind of mixture screw 'sample needle'." in said
    job = Job.model_validate(job_file.parse(JOB.replace("sample needle", "long taper")).model_dump(mode="json"))
    strange = job.model_copy(update={"bank": job.bank.model_copy(update={"mixture_screw": "sample neddle"})})
    found = check_file(folder / "quad.yaml", [folder], shipped())
    with pytest.raises(NotForThisJob, match="Did you mean 'sample needle'"):
        Session.start(found.program, strange, book=Book.memory(), advisers=shipped())


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("- states\n", "mapping"),
        ("states:\n  lid:\n", "`lid` has no value."),
        ("screws: {x: {out: up, start: 1, rest: [1, 2], source: s}}\n", "`up` is not a word that may stand here"),
        ("screws: {x: {out: richer, start: 9, rest: [1, 2], source: s}}\n", "judged wrong"),
        ("quantities: {x: {unit: deg, range: [0, 9], needs: {lidd: open}}}\n", "Nobody declares the state `lidd`"),
        ("# nothing yet\n", None),
        ("", None),
    ],
)
def test_a_fault_of_the_shops_vocabulary_stands_in_its_own_file(tmp_path: Path, text: str, told: str | None) -> None:
    path = written(tmp_path / "shop")
    (path.parent / "vocabulary.yaml").write_text(text, encoding="utf-8")
    found = [p for p in check_file(path, [path.parent], shipped()).problems if p.severity == "error"]
    if told is None:
        assert found == []
    else:
        assert found and all(Path(p.path).name == "vocabulary.yaml" for p in found)
        assert any(told in p.message for p in found), [p.message for p in found]
