"""A book of version 1 is brought to version 2: nothing of its record changes, a copy is made first, and jobs are
joined to vehicles only by equal registration, which can be undone.
"""

from __future__ import annotations

import gzip
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from valve_runs import DONE, answered, begun, valve_job

from engine.book import migrate as migrate_module
from engine.book.backup import copies
from engine.book.book import Book
from engine.book.migrate import plate, version_of
from engine.book.schema import APPLICATION, MIGRATIONS, VERSION
from engine.book.trouble import BookTrouble
from engine.job.model import Vehicle

KEPT = Path(__file__).parents[2] / "kept" / "state_6e732ba" / "jobs.book.gz"


def raw(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, isolation_level=None)


def first_version(path: Path, *visits: tuple[str, str]) -> Path:
    """A book of version 1 with a visit for each (registration, customer), and no run."""
    db = raw(path)
    for statement in MIGRATIONS[0]:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {APPLICATION}")
    db.execute("PRAGMA user_version = 1")
    facts = json.dumps(valve_job().engineering()).encode()
    for number, (registration, customer) in enumerate(visits, 1):
        vehicle = json.dumps({"description": f"cart {number}", "registration": registration}).encode()
        db.execute("INSERT INTO job VALUES (?, '2030-01-01', ?)", (number, facts))
        db.execute("INSERT INTO person VALUES (?, 'uneven', ?, ?)", (number, customer, vehicle))
    db.close()
    return path


@pytest.mark.parametrize(("column", "harmed", "found"), [("at", b"2030-01-01", "S 1"), ("told", 20, "")])
def test_a_text_that_damage_made_bytes_or_a_number_stops_no_search_index(
    tmp_path: Path, column: str, harmed: object, found: str
) -> None:
    """One bit of a row's head makes something else of a text, whatever the column says."""
    Book.open(first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"))).close()
    whole, db = raw(tmp_path / "jobs.book"), sqlite3.connect(":memory:", isolation_level=None)
    for (statement,) in whole.execute("SELECT sql FROM sqlite_master WHERE type = 'table' AND sql IS NOT NULL"):
        if "search_" not in statement.split("(")[0] and "sqlite_" not in statement.split("(")[0]:
            db.execute(statement.replace("STRICT", "").rstrip(" ,\n"))
    names = [row[1] for row in whole.execute("PRAGMA table_info(job)")]
    row = dict(zip(names, whole.execute("SELECT * FROM job").fetchone(), strict=True))
    row[column] = harmed
    db.execute(f"INSERT INTO job ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))
    migrate_module.index(db, row["job"])
    assert found in db.execute("SELECT vehicle FROM search").fetchone()[0]


def as_stated(path: Path, statement: str) -> None:
    """Have the events' table read by another statement than it was made with."""
    db = raw(path)
    db.execute("PRAGMA writable_schema = ON")
    db.execute("UPDATE sqlite_master SET sql = ? WHERE name = 'event'", (statement,))
    db.close()


@pytest.mark.parametrize("harmed", ["NULL", "20", "'text'", "2.5"])
def test_an_event_that_damage_made_something_else_of_is_said_and_breaks_nothing(tmp_path: Path, harmed: str) -> None:
    """One bit of a row's head makes a number or nothing of a body, whatever the column says."""
    path = tmp_path / "jobs.book"
    with closing(Book.open(path)) as book:
        run = answered(begun(book), DONE).run
    (strict,) = raw(path).execute("SELECT sql FROM sqlite_master WHERE name = 'event'").fetchone()
    rules = [rule for rule in raw(path).execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")]
    as_stated(path, strict.replace("STRICT", "").replace("body BLOB NOT NULL", "body"))
    db = raw(path)
    for name, _ in rules:
        db.execute(f"DROP TRIGGER {name}")
    db.execute(f"UPDATE event SET body = {harmed} WHERE seq = 1")
    for _, rule in rules:
        db.execute(rule)
    db.close()
    as_stated(path, strict)
    for reading in (True, False):
        try:
            with closing(Book.open(path, reading=reading)) as book, pytest.raises(BookTrouble):
                book.events(run)
        except BookTrouble as trouble:
            assert "damaged" in str(trouble)


class TestTheStepToIt:
    def test_every_event_hash_and_text_of_a_kept_book_stands_as_it_was(self, tmp_path: Path) -> None:
        path = tmp_path / "jobs.book"
        path.write_bytes(gzip.decompress(KEPT.read_bytes()))
        ask = "SELECT run, seq, key, body, hash FROM event ORDER BY run, seq", "SELECT * FROM text ORDER BY sha256"
        before = [raw(path).execute(sql).fetchall() for sql in ask]
        with_heads = Book.open(path)
        assert [raw(path).execute(sql).fetchall() for sql in ask] == before
        for row in with_heads.runs():
            assert row.problem is None
            assert len(with_heads.events(row.run)) == with_heads.count(row.run)

    def test_a_copy_is_made_first_and_opens(self, tmp_path: Path) -> None:
        path = first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"))
        Book.open(path).close()
        kept = [p for p in copies(path) if p.name.startswith("before-version-2")]
        assert len(kept) == 1
        assert version_of(raw(kept[0])) == 1
        assert raw(kept[0]).execute("SELECT customer FROM person").fetchall() == [("A. Sample",)]

    def test_where_no_copy_can_be_made_it_is_left_as_it_was(self, tmp_path: Path) -> None:
        path = first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"))
        (tmp_path / "jobs.book.backups").write_text("in the way", encoding="utf-8")
        with pytest.raises(BookTrouble, match="no copy could be made"):
            Book.open(path)
        assert version_of(raw(path)) == 1

    def test_a_fault_half_way_leaves_version_1(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        path = first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"))

        def fails(*_: object) -> None:
            raise sqlite3.OperationalError("database or disk is full")

        monkeypatch.setitem(migrate_module._FILL, 1, fails)
        with pytest.raises(BookTrouble, match="disk is full"):
            Book.open(path)
        assert version_of(raw(path)) == 1
        assert raw(path).execute("SELECT count(*) FROM person").fetchone() == (1,)
        monkeypatch.undo()
        assert Book.open(path).job(1).customer == "A. Sample"

    def test_reading_an_older_book_does_not_write_to_it(self, tmp_path: Path) -> None:
        path = first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"))
        before = path.read_bytes()
        assert Book.open(path, reading=True).job(1).customer == "A. Sample"
        assert path.read_bytes() == before
        assert [p.name for p in tmp_path.iterdir()] == ["jobs.book"]

    def test_a_new_book_is_of_the_newest_version(self, tmp_path: Path) -> None:
        Book.open(tmp_path / "jobs.book").close()
        assert version_of(raw(tmp_path / "jobs.book")) == VERSION


class TestWhichJobsAreOfOneVehicle:
    @pytest.mark.parametrize(("one", "other"), [("ab 12-C", "AB12 c"), ("S 1", "s1"), ("Ä 1", "ä1")])
    def test_registrations_are_equal_without_spaces_signs_and_case(self, one: str, other: str) -> None:
        assert plate(one) == plate(other) != ""

    def test_only_an_equal_registration_joins(self, tmp_path: Path) -> None:
        visits = (
            ("S 1", "A. Sample"),
            ("s-1", "A. Sample"),
            ("S 2", "A. Sample"),
            ("", "B. Sample"),
            ("", "B. Sample"),
        )
        book = Book.open(first_version(tmp_path / "jobs.book", *visits))
        assert sorted(v.jobs for v in book.vehicles()) == [(2, 1), (3,), (4,), (5,)]
        # A name is no proof: two may share it.
        assert len(book.customers()) == 4

    def test_another_customer_may_bring_the_same_vehicle(self, tmp_path: Path) -> None:
        book = Book.open(first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"), ("S 1", "B. Sample")))
        (vehicle,) = book.vehicles()
        assert [c.name for c in book.customers()] == ["A. Sample", "B. Sample"]
        assert next(c for c in book.customers() if c.customer == vehicle.customer).name == "B. Sample"

    def test_each_visit_says_what_was_said_of_it(self, tmp_path: Path) -> None:
        book = Book.open(first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"), ("S-1", "A. Sample")))
        assert [book.job(n).vehicle.description for n in (1, 2)] == ["cart 1", "cart 2"]
        assert [book.job(n).vehicle.registration for n in (1, 2)] == ["S 1", "S-1"]

    def test_a_join_can_be_undone_and_made_again(self, tmp_path: Path) -> None:
        book = Book.open(first_version(tmp_path / "jobs.book", ("S 1", "A. Sample"), ("S 1", "A. Sample")))
        book.split(2)
        assert sorted(v.jobs for v in book.vehicles()) == [(1,), (2,)]
        assert book.job(2).customer == "A. Sample"
        book.join(2, to=1)
        assert sorted(v.jobs for v in book.vehicles()) == [(2, 1)]

    def test_a_new_visit_joins_too_and_a_customer_has_many_vehicles(self) -> None:
        book = Book.memory()
        one = valve_job().model_copy(update={"vehicle": Vehicle(registration="S 1")})
        other = one.model_copy(update={"vehicle": Vehicle(registration="S 2")})
        numbers = [book.take_in(one), book.take_in(one), book.take_in(other)]
        assert [len(v.jobs) for v in book.vehicles()] == [1, 2]
        book.same_customer(numbers[2], as_of=numbers[0])
        assert [len(c.vehicles) for c in book.customers()] == [2]


class TestWhatElseItHolds:
    def test_people_of_the_shop(self) -> None:
        book = Book.memory()
        first, second = book.add_staff("C. Sample"), book.add_staff("D. Sample")
        book.staff_left(first, "2031-01-01")
        assert [(s.staff, s.name, s.left) for s in book.staff()] == [
            (first, "C. Sample", "2031-01-01"),
            (second, "D. Sample", None),
        ]

    def test_what_is_half_typed_stands_beside_the_run_and_comes_back(self, tmp_path: Path) -> None:
        book = Book.open(tmp_path / "jobs.book")
        session = answered(begun(book), DONE)
        head = book.head(session.run)
        book.keep_draft(session.run, 1, {"flow": ["4", ""]})
        book.close()
        again = Book.open(tmp_path / "jobs.book")
        assert again.draft(session.run, 1) == {"flow": ["4", ""]}
        assert again.draft(session.run, 2) == {}
        assert again.head(session.run) == head
        again.drop_draft(session.run)
        assert again.draft(session.run, 1) == {}

    def test_a_recheck_is_due_until_the_vehicle_comes_again(self) -> None:
        book = Book.memory()
        job = valve_job().model_copy(update={"vehicle": Vehicle(registration="S 1")})
        first = book.take_in(job)
        book.set_recheck(first, "2031-06-01", "4000", "after 500 km")
        assert [(r.job, r.due, r.odometer) for r in book.rechecks()] == [(first, "2031-06-01", "4000")]
        book.take_in(job)
        assert book.rechecks() == []

    def test_corrected_facts_are_in_force_and_the_first_ones_stay(self) -> None:
        book = Book.memory()
        number = book.take_in(valve_job())
        facts = {**valve_job().engineering(), "settings": {"target": "7 L/min"}}
        book.correct_facts(number, facts, "2031-05-05", by=1)
        assert book.job(number).settings == {"target": "7 L/min"}
        assert b"target" not in book._read("SELECT facts FROM job")[0][0]

    def test_jobs_are_found_by_the_beginnings_of_words(self) -> None:
        book = Book.memory()
        session = begun(book)
        session.answer(type(DONE)(note="Stiff spindle, ordered a washer."))
        assert book.found("samp") == book.found("spind wash") == book.found("UNEVEN") == [1]
        assert book.found("gearbox") == book.found('"') == book.found("") == []
