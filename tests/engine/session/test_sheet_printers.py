"""One document, its printers: text, HTML, CSV, JSON and the screen say the same; hostile text stays text in each."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from typing import Any

import jsonschema
import pytest
from valve_runs import DONE, LONG_WAY, Answer, answered, begun

from engine.sheet import plain_text, tables
from engine.sheet.document import Document, Fields, Findings, Items, Section, Table, document
from engine.sheet.gather import gathered, minutes_worked
from engine.sheet.html import page
from engine.sheet.printers import FORMS, printed
from tui.drawing import handover_lines
from tui.drawing.lines import text_of

HOSTILE = '<script>alert(1)</script> [b]x[/b] =1+1 \'; DROP TABLE job;-- \x1b[2J \u202eright to left\u202c & "quoted"'
DRIPPING = Answer(
    readings={"flow": [4, 7.5], "sound": "steady", "drips": None},
    understood=True,
    lacking={"drips": "too dark to see"},
)


def made(*answers: Answer, shop: tuple[str, ...] = ()) -> Document:
    return document(gathered(answered(begun(), *answers)), shop)


@pytest.fixture(scope="module")
def whole() -> Document:
    """A sheet with something in most of its sections."""
    part = {"part": "washer", "carb": 2, "barrel": None, "size": 12}
    return made(
        DONE, Answer(note="Stiff spindle."), DONE, DRIPPING, Answer(done=True, fitted=[part]), shop=("SAMPLE works",)
    )


class Words(HTMLParser):
    """The words of a page, and the names of its tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self._off = 0
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.add(tag)
        self._off += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._off -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._off:
            self.words += data.split()


def squeezed(text: str) -> str:
    return " ".join(text.split())


def texts(section: Section) -> list[str]:
    """Every text that a section holds."""
    body = section.body
    if isinstance(body, Table):
        return [t for row in body.rows for t in (row.under, row.label, *row.cells)]
    if isinstance(body, Fields):
        return [t for row in body.rows for t in row]
    if isinstance(body, Items):
        return list(body.items)
    assert isinstance(body, Findings)
    return [t for f in body.findings for t in (f.where, f.say, f.do, f.accepted)]


def every_text(whole: Document) -> list[str]:
    said = [text for row in whole.top.rows for text in row]
    for section in whole.sections:
        said += [section.title, *(texts(section) or [section.none])]
    return [squeezed(t) for t in [*said, whole.outcome, whole.say, whole.foot, whole.head] if t]


@pytest.mark.parametrize("form", ["text", "html", "json", "screen"])
def test_every_printer_says_all_that_the_document_says(form: str, whole: Document) -> None:
    if form == "html":
        said = " ".join(Words(page(whole)).words)
    elif form == "screen":
        lines = [*handover_lines.head(whole, 200), *handover_lines.page(whole, 200)]
        said = squeezed(" ".join(text_of(lines)))
        said += " ".join(" ".join(row) for row in whole.top.rows)  # the job stands at the top of the screen itself
    else:
        said = squeezed(printed(whole, form))  # type: ignore[arg-type]
        said = said.replace('\\"', '"')
    missing = [t for t in every_text(whole) if t not in said]
    assert not missing


def test_the_csv_has_a_row_for_every_figure_and_sentence(whole: Document) -> None:
    rows = list(csv.reader(io.StringIO(tables.as_csv(whole))))
    assert tuple(rows[0]) == tables.COLUMNS
    assert all(len(row) == len(tables.COLUMNS) for row in rows)
    cells = {cell for row in rows for cell in row}
    for section in whole.sections:
        for text in filter(None, texts(section)):
            assert tables.safe_cell(text) in cells


def test_the_json_is_as_its_published_schema_says(whole: Document) -> None:
    jsonschema.validate(json.loads(tables.as_json(whole)), tables.schema())
    broken = json.loads(tables.as_json(whole))
    broken["sections"][0]["body"]["rows"][0]["cells"] = 4
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, tables.schema())


@pytest.mark.parametrize("form", FORMS)
def test_hostile_text_is_shown_as_text_in_every_form(form: Any) -> None:
    text = printed(made(Answer(note=HOSTILE), *LONG_WAY, shop=(HOSTILE, "x")), form)
    assert not {"\u202e", "\x1b"} & set(text)
    if form == "html":
        assert "<script" not in text
        assert {"script", "b"} & (Words(text).tags - {"b"}) == set()
        assert "alert(1)" in " ".join(Words(text).words)
    if form == "json":
        notes = next(s for s in json.loads(text)["sections"] if s["key"] == "notes")
        assert notes["body"]["items"][0] == HOSTILE


@pytest.mark.parametrize("cell", ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "  =1", "\t=1", "|cmd", "%x"])
def test_no_cell_of_the_csv_is_a_formula(cell: str) -> None:
    assert tables.safe_cell(cell).startswith("'")


@pytest.mark.parametrize("cell", ["-2", "-0.5", "4.8", "1 1/4", "-", "body 1", "12,5"])
def test_figures_stay_figures_in_the_csv(cell: str) -> None:
    assert tables.safe_cell(cell) == cell


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_needs_nothing_else_and_prints_on_its_paper(paper: Any, whole: Document) -> None:
    text = page(whole, paper)
    assert f"size: {paper}" in text
    assert not re.search(r"(src|href)=|@import|url\(", text)
    assert "<svg" in text


def test_a_row_of_the_bank_is_drawn_body_by_body_as_found_and_as_left() -> None:
    drawn = made(*LONG_WAY).bank
    assert [body.place for body in drawn] == ["valve 1", "valve 2"]
    assert any(m.name.startswith("Flow") for body in drawn for spot in body.spots for m in spot.measures)


def test_a_screw_is_told_to_stand_in_its_band_or_not(whole: Document) -> None:
    section = next(s for s in whole.sections if s.key == "bands")
    assert isinstance(section.body, Table)
    assert {cells.rsplit(": ", 1)[1] for _, cells in (row.cells for row in section.body.rows)} <= {
        "in band",
        "under",
        "over",
        "not counted",
    }


def test_time_worked_leaves_pauses_out() -> None:
    at = "2031-05-04T{}+00:00".format
    bodies = [
        {"kind": "started", "at": at("10:00:00")},
        {"kind": "done", "at": at("10:10:00")},
        {"kind": "suspended", "at": at("10:15:00")},
        {"kind": "done", "at": at("10:20:00")},  # he had left
        {"kind": "done", "at": at("12:20:00")},  # two hours at one step: nobody works that long at one
        {"kind": "done", "at": at("12:25:00")},
        {"kind": "done", "at": at("12:05:00")},  # the clock was set back
        {"kind": "done", "at": "not a time"},
    ]
    assert minutes_worked(bodies) == 10 + 5 + 5


def test_what_the_plain_text_says_fits_80_columns(whole: Document) -> None:
    assert max(map(len, plain_text.lines(whole))) <= 80


# ---- by command


def command(*arguments: str) -> tuple[int, str, str]:
    from contextlib import redirect_stderr, redirect_stdout

    from tui.commandline import cli

    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = cli.main(arguments)
    return int(code), out.getvalue(), err.getvalue()


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A book on the disk with one run."""
    from engine.book.book import Book

    path = tmp_path_factory.mktemp("book") / "jobs.book"
    with_run = Book.open(path)
    answered(begun(with_run), *LONG_WAY)
    with_run.close()
    return str(path)


@pytest.fixture
def shop(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A shop folder of its own."""
    monkeypatch.setenv("EVENDRAW_SHOP", str(tmp_path))
    return tmp_path


@pytest.mark.parametrize("form", FORMS)
def test_the_command_prints_a_form_or_writes_it_to_a_file_of_its_user(
    form: str, book: str, shop: Any, tmp_path: Any
) -> None:
    code, out, _ = command("sheet", "1", "--book", book, "--format", form)
    assert (code, bool(out)) == (0, True)
    path = tmp_path / f"sheet.{form}"
    code, said, _ = command("sheet", "1", "--book", book, "--format", form, "--out", str(path))
    assert (code, said) == (0, f"Written to {path}.\n")
    assert path.read_bytes().decode().strip() == out.strip()


def test_the_shop_stands_on_top_of_the_sheet(book: str, shop: Any) -> None:
    told = 'shop: {name: SAMPLE works, address: "1 Sample Street", telephone: "0", paper: Letter}\n'
    (shop / "settings.yaml").write_text(told, encoding="utf-8")
    said = command("sheet", "1", "--book", book)[1]
    assert said.splitlines()[:3] == ["SAMPLE works", "1 Sample Street", "0"]
    assert "own head on top is as its settings have it today, and not under the seal." in " ".join(said.split())
    assert "size: Letter" in command("sheet", "1", "--book", book, "--format", "html")[1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("shop: SAMPLE works\n", "'shop' holds name, address and so on."),
        ("shop: {adress: SAMPLE works}\n", "'adress' is none of a shop's. Did you mean 'address'?"),
        ("shop: {paper: A3}\n", "'paper' is A4 or Letter."),
    ],
)
def test_a_slip_in_what_the_shop_says_of_itself_is_told_at_its_place(
    text: str, said: str, book: str, shop: Any
) -> None:
    (shop / "settings.yaml").write_text(text, encoding="utf-8")
    code, _, told = command("sheet", "1", "--book", book)
    assert code == 2
    assert "settings.yaml:1:" in told
    assert said in told


@pytest.mark.parametrize("bad", ["missing/sheet.html", ".", "nul\0.html"])
def test_a_place_that_can_not_be_written_gets_a_sentence(bad: str, book: str, shop: Any, tmp_path: Any) -> None:
    code, _, told = command("sheet", "1", "--book", book, "--out", f"{tmp_path}/{bad}")
    assert code == 2
    assert told.startswith("The sheet can't be written to ")
    assert told.rstrip().endswith("Name another file.")
