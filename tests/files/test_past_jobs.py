"""Past jobs from CSV tables: what is read, and every problem at its place."""

import re
import shutil
from collections.abc import Callable
from dataclasses import MISSING, fields
from datetime import date
from pathlib import Path

import pytest
from simulated_shop import TODAY, simulate, write

from quoting.domain.calibration import BookTime, Cell, Clocking, Marker, PastJob
from quoting.domain.errors import ProblemsError
from quoting.domain.extras import Circumstances, Inspection
from quoting.domain.tables import Table
from quoting.files.past_jobs import TABLES, read_past_jobs

PAGE = Path(__file__).parents[2] / "docs" / "past-jobs.md"


def described(name: str) -> str:
    """Return what the page says under a table's heading."""
    found = re.search(
        rf"^### `{name}\.csv`$(.*?)(?=^#+ |\Z)",
        PAGE.read_text("utf-8"),
        re.MULTILINE | re.DOTALL,
    )
    assert found, f"no heading for {name}"
    return found[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the folder of the page's example."""
    place = tmp_path / "past-jobs"
    place.mkdir()
    for name in TABLES:
        _, _, block = described(name).partition("```csv\n")
        rows, end, _ = block.partition("```\n")
        assert end
        (place / f"{name}.csv").write_text(rows, "utf-8")
    return place


def change(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / f"{name}.csv"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def problems(folder: Path) -> list[str]:
    with pytest.raises(ProblemsError) as raised:
        read_past_jobs(folder)
    return [str(problem) for problem in raised.value.problems]


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
def test_a_table_is_described_column_by_column(table: Table[object]) -> None:
    defaults = {f.name: f.default for f in fields(table.record)}  # type: ignore[arg-type]
    rows = []
    for name, about in table.columns().items():
        allowed = about.kind.allowed
        if about.refers:
            allowed += f"; as in `{about.refers}.csv`"
        default = defaults[name]
        empty = "\N{EN DASH}" if default in (None, "", ()) else f"`{default}`"
        if default is MISSING:
            empty = "needed"
        rows.append(f"| `{name}` | {about.about} | {allowed} | {empty} |")

    text = described(table.name)

    assert text.lstrip().startswith(f"{table.about}.")
    assert re.findall(r"^\| `.*", text, re.MULTILINE) == rows


def test_the_example_of_the_page_is_read(folder: Path) -> None:
    past = read_past_jobs(folder)

    assert past.book == (
        BookTime("WASH", 10, 6),
        BookTime("SCUT", 12, 4.5, by_material=True, by_hardness=True),
        BookTime("GUID", 12, 5, by_material=True),
    )
    assert past.jobs[0] == PastJob(
        "1041",
        date(2025, 2, 3),
        (Cell("WASH", 1), Cell("SCUT", 16), Cell("GUID", 5)),
        (Clocking("1", ("WASH",), 21), Clocking("2", ("SCUT", "GUID"), 118)),
        "four-16",
        "first",
        "aluminium",
        "standard",
    )
    assert past.jobs[1].cells == (Cell("WASH", 1), Cell("SCUT", 17.6))
    assert past.jobs[2].cells == (Cell("WASH", 2, 2), Cell("SCUT", 32, 1.5))
    assert past.jobs[2].clockings == (Clocking("4", (), 205),)
    assert [job.job for job in past.future] == ["1044"]
    assert past.inspections[0] == Inspection(
        "1041",
        date(2025, 2, 3),
        "guides-worn",
        16,
        5,
        Circumstances("four-16", "old", "overheated", "corroded"),
    )
    assert past.markers == (Marker(date(2025, 2, 4), ("SCUT",), "new seat machine"),)
    assert past.brings == {"guides-worn": ("GUID",)}
    assert past.units == {"WASH": "head", "SCUT": "valve", "GUID": "unit"}


def test_the_day_and_the_book_s_head_are_those_of_the_past_jobs(folder: Path) -> None:
    history = read_past_jobs(folder).history()

    assert history.today == date(2025, 2, 6)
    assert (history.material, history.hardness) == ("aluminium", "standard")


def test_the_day_and_the_book_s_head_may_be_said(folder: Path) -> None:
    history = read_past_jobs(folder).history(date(2025, 3, 1), "iron", "hard")

    assert history.today == date(2025, 3, 1)
    assert (history.material, history.hardness) == ("iron", "hard")


def test_what_a_shop_knows_is_what_is_read(tmp_path: Path) -> None:
    shop = simulate(5, 40, future=10)
    write(shop, tmp_path)

    past = read_past_jobs(tmp_path)

    assert past.history(TODAY) == shop.history
    assert [job.job for job in past.future] == [done.job.job for done in shop.future]
    assert [
        (each.job, each.finding, each.at_risk, each.affected)
        for each in past.inspections
    ] == [tuple(found) for found in shop.findings]
    for each in past.inspections:
        assert tuple(each.circumstances) == tuple(shop.circumstances[each.job])


def test_findings_of_jobs_to_come_are_not_learnt_from(folder: Path) -> None:
    change(folder, "findings", "1043,cracked,2,0", "1044,cracked,1,1")

    jobs = {each.job for each in read_past_jobs(folder).inspections}
    assert jobs == {"1041", "1042"}


def test_an_operation_may_be_one_of_several_that_a_finding_brings(
    folder: Path,
) -> None:
    change(folder, "operations", "WASH,clean,head", "WASH,clean,found:guides-worn")

    assert read_past_jobs(folder).brings == {"guides-worn": ("WASH", "GUID")}


def test_findings_and_events_may_be_missing(folder: Path) -> None:
    (folder / "findings.csv").unlink()
    (folder / "events.csv").unlink()

    past = read_past_jobs(folder)

    assert (past.inspections, past.markers) == ((), ())


def test_other_files_are_passed_over(folder: Path) -> None:
    (folder / "truth.json").write_text("{", "utf-8")

    assert len(read_past_jobs(folder).jobs) == 3


@pytest.mark.parametrize(
    "saved",
    [
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text + "\n,,\n",
    ],
    ids=["semicolons", "tabs", "byte-order-mark", "line-ends", "empty-lines"],
)
def test_a_table_is_read_however_a_spreadsheet_saved_it(
    folder: Path, saved: Callable[[str], str]
) -> None:
    before = read_past_jobs(folder)
    path = folder / "cells.csv"
    path.write_bytes(saved(path.read_text("utf-8")).encode())

    assert read_past_jobs(folder) == before


def test_columns_may_be_left_out_and_in_any_order(folder: Path) -> None:
    (folder / "cells.csv").write_text(
        "qty,op,job\n1,WASH,1041\n16,SCUT,1044\n", "utf-8"
    )

    assert read_past_jobs(folder).jobs[0].cells == (Cell("WASH", 1),)


def test_minutes_that_are_no_use_are_read_and_left_to_the_report(folder: Path) -> None:
    change(folder, "clockings", "118", "-5")
    change(folder, "clockings", "205", "")

    jobs = read_past_jobs(folder).jobs

    assert jobs[0].clockings[1].minutes == -5
    assert jobs[2].clockings[0].minutes is None


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        (
            "operations",
            "10,6",
            "ten,6",
            "operations.csv, row 2, column book_setup: found 'ten'; "
            "allowed: a decimal number, 0 or more, such as 6.50",
        ),
        (
            "operations",
            "WASH",
            "WASH+DRY",
            "operations.csv, row 2, column op: found 'WASH+DRY'; "
            "allowed: a code of letters, digits and . _ - such as SCUT",
        ),
        (
            "operations",
            "GUID,",
            "SCUT,",
            "operations.csv, row 4, column op: found 'SCUT'; already in row 3",
        ),
        (
            "jobs",
            "1042,2025-02-05",
            "1042,5.2.2025",
            "jobs.csv, row 3, column date: found '5.2.2025'; "
            "allowed: a date such as 2026-03-01",
        ),
        (
            "jobs",
            "1043,",
            "1042,",
            "jobs.csv, row 4, column job: found '1042'; already in row 3",
        ),
        (
            "jobs",
            "history",
            "done",
            "jobs.csv, row 2, column split: found 'done'; "
            "allowed: one of history, future",
        ),
        (
            "cells",
            "1042,SCUT",
            "1042,SEAT",
            "cells.csv, row 6, column op: found 'SEAT'; no such row in operations.csv",
        ),
        (
            "cells",
            "1042,SCUT",
            "1024,SCUT",
            "cells.csv, row 6, column job: found '1024'; no such row in jobs.csv",
        ),
        (
            "cells",
            "17.6",
            "0",
            "cells.csv, row 6, column qty: found '0'; "
            "allowed: a decimal number above 0, such as 0.05",
        ),
        (
            "clockings",
            "SCUT+GUID",
            "SCUT+SCUT",
            "clockings.csv, row 3, column ops: found 'SCUT+SCUT'; "
            "SCUT stands there twice",
        ),
        (
            "clockings",
            "SCUT+GUID",
            "SCUT+",
            "clockings.csv, row 3, column ops: found 'SCUT+'; "
            "allowed: codes joined by +, such as SCUT+VREF",
        ),
        (
            "clockings",
            "SCUT+GUID",
            "SCUT+GUDI",
            "clockings.csv, row 3, column ops: found 'GUDI'; "
            "no such row in operations.csv",
        ),
        (
            "clockings",
            "3,1042",
            "2,1042",
            "clockings.csv, row 4, column row: found '2'; already in row 3",
        ),
        (
            "clockings",
            "4,1043",
            "4,1044",
            "clockings.csv, row 5, column job: found '1044'; "
            "is a future job in row 5 of jobs.csv",
        ),
        (
            "clockings",
            "205",
            "3h25",
            "clockings.csv, row 5, column minutes: found '3h25'; "
            "allowed: a decimal number such as 6.50",
        ),
        (
            "findings",
            "8,0",
            "8,9",
            "findings.csv, row 3, column affected: found '9'; at most the 8 at risk",
        ),
        (
            "findings",
            "8,0",
            "0,0",
            "findings.csv, row 3, column at_risk: found '0'; "
            "1 or more; leave the row out where nobody looked",
        ),
        (
            "findings",
            "1042,guides-worn",
            "1041,guides-worn",
            "findings.csv, row 3, column job: found '1041 guides-worn'; "
            "already in row 2",
        ),
        (
            "events",
            "SCUT",
            "",
            "events.csv, row 2, column ops: empty; codes joined by +, such as "
            "SCUT+VREF",
        ),
        (
            "jobs",
            "condition",
            "weather",
            "jobs.csv, row 1, column weather: found 'weather'; known columns: job, "
            "date, split, family, band, reason, condition, material, hardness, "
            "machinist, day, clock, cylinders, valves_per_cyl, heads",
        ),
    ],
)
def test_a_problem_is_named_at_its_place(
    folder: Path, name: str, old: str, new: str, said: str
) -> None:
    change(folder, name, old, new)

    assert said in problems(folder)


def test_a_job_to_come_without_work_is_a_problem(folder: Path) -> None:
    change(folder, "cells", "1044,WASH,1,1\n1044,SCUT,16,1\n", "")

    assert problems(folder) == [
        "jobs.csv, row 5, column job: found '1044'; "
        "no row in cells.csv names work of it that has minutes"
    ]


def test_every_problem_of_every_file_is_named_at_once(folder: Path) -> None:
    change(folder, "operations", "10,6", "ten,6")
    change(folder, "cells", "1042,SCUT", "1042,SEAT")
    change(folder, "clockings", "205", "long")
    change(folder, "findings", "8,0", "8,9")

    found = problems(folder)

    assert [line.partition(":")[0] for line in found] == [
        "operations.csv, row 2, column book_setup",
        "cells.csv, row 6, column op",
        "clockings.csv, row 5, column minutes",
        "findings.csv, row 3, column affected",
    ]


def test_a_table_that_is_missing_brings_no_problem_of_the_others(folder: Path) -> None:
    (folder / "jobs.csv").unlink()

    assert problems(folder) == ["jobs.csv: the file is missing"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "jobs.csv, row 1: the line of column names is missing"),
        (
            b"job,date\n1,2025-01-01\n\xff,\n",
            "jobs.csv, row 3: is not UTF-8 text; save the sheet as CSV UTF-8",
        ),
        (b'job,date\n"1,2025\n', "jobs.csv, row 2: is not CSV: "),
    ],
    ids=["empty", "latin-1", "open-quote"],
)
def test_a_file_that_is_no_table_is_named(
    folder: Path, content: bytes, said: str
) -> None:
    (folder / "jobs.csv").write_bytes(content)

    [found] = problems(folder)
    assert found.startswith(said)


def test_a_folder_that_is_none_is_named(tmp_path: Path) -> None:
    [found] = problems(tmp_path / "nothing")

    assert found.endswith("nothing: is no folder")


def test_a_file_in_place_of_a_table_is_named(folder: Path) -> None:
    (folder / "jobs.csv").unlink()
    shutil.copytree(folder, folder / "jobs.csv")

    [found] = problems(folder)
    assert found.startswith("jobs.csv: cannot be read: ")
