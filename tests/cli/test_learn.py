"""Learning from a folder of past jobs on the command line.

The shops are invented, and what is true of them is known.
"""

import csv
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from shop import Shop as Workshop
from shop import now
from simulated_shop import Shop, pinball, simulate, write
from sqlalchemy import select

from quoting.cli import main
from quoting.domain.consent import Consent, How
from quoting.domain.life import OrderMove
from quoting.store.database import Database
from quoting.store.models import EarlierJobs
from quoting.workflow import bench, learning, orders, people, quotes
from quoting.workflow.orders import BookedIn

SEED, JOBS = 21, 250


def learn(*words: object) -> Result:
    return CliRunner().invoke(main, ["learn", *map(str, words)])


@dataclass(frozen=True)
class Run:
    """A shop that was learnt from, and what was written."""

    shop: Shop
    said: Result
    out: Path

    def rows(self, name: str) -> list[dict[str, str]]:
        """Return the rows of a table that was written."""
        with (self.out / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    def section(self, heading: str) -> str:
        """Return the report's text under a heading."""
        return section(self.out, heading)


def section(out: Path, heading: str) -> str:
    """Return the report's text under a heading; empty if it has none such."""
    text = (out / "report.md").read_text("utf-8")
    found = re.search(
        rf"^#+ {re.escape(heading)}$(.*?)(?=^#+ |\Z)", text, re.MULTILINE | re.DOTALL
    )
    return found[1].strip() if found else ""


def brought_by_findings(folder: Path) -> None:
    """Say in the folder which finding brings which operation."""
    path = folder / "operations.csv"
    text = path.read_text("utf-8")
    for code, finding in (
        ("new-guides", "guides-worn"),
        ("new-seats", "seats-bad"),
        ("close-crack", "cracked"),
    ):
        text = re.sub(
            rf"^({code},\w+),found,",
            rf"\1,found:{finding},",
            text,
            flags=re.MULTILINE,
        )
    path.write_text(text, "utf-8")


def past_jobs(folder: Path, shop: Shop) -> Path:
    write(shop, folder)
    brought_by_findings(folder)
    return folder


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    place = tmp_path_factory.mktemp("learn")
    shop = simulate(SEED, JOBS)
    folder = past_jobs(place / "past-jobs", shop)
    return Run(shop, learn(folder, "--out", place / "learnt"), place / "learnt")


def test_what_was_read_and_written_is_said(run: Run) -> None:
    assert run.said.exit_code == 0, run.said.output
    assert run.said.stdout.splitlines() == [
        "250 past jobs and 12 operations; 200 jobs to come.",
        *(
            f"written: {run.out / name}"
            for name in ("estimates.csv", "predictions.csv", "report.md")
        ),
    ]


def test_estimates_lie_nearer_to_the_truth_than_the_book(run: Run) -> None:
    book = {time.operation: time for time in run.shop.history.book}
    estimates = run.rows("estimates")

    def error(minutes: Callable[[dict[str, str]], float]) -> float:
        ratios = [minutes(row) / run.shop.unit[row["op"]] - 1 for row in estimates]
        return math.sqrt(sum(ratio**2 for ratio in ratios) / len(ratios))

    assert [row["op"] for row in estimates] == list(book)
    learnt = error(lambda row: float(row["unit"]))
    assert learnt < 0.15
    assert learnt < 0.6 * error(lambda row: book[row["op"]].unit)
    for row in estimates:
        assert 0 < float(row["unit_lo"]) < float(row["unit"]) < float(row["unit_hi"])
        assert float(row["setup"]) > 0


def test_predictions_hold_what_they_say(run: Run) -> None:
    predicted = {row["job"]: row for row in run.rows("predictions")}
    actual = {done.job.job: done.minutes for done in run.shop.future}
    assert predicted.keys() == actual.keys()
    columns = ["p05", "p10", "p50", "p80", "p90", "p95"]
    for row in predicted.values():
        assert all(float(row[a]) < float(row[b]) for a, b in pairwise(columns))

    def within(column: str) -> float:
        return sum(
            actual[job] <= float(row[column]) for job, row in predicted.items()
        ) / len(actual)

    # Two hundred jobs: three standard errors of a share.
    for column, share in (("p50", 0.5), ("p80", 0.8), ("p90", 0.9)):
        assert within(column) == pytest.approx(
            share, abs=3 * math.sqrt(share * (1 - share) / 200)
        )
    means = [done.mean for done in run.shop.future]
    true = list(actual.values())
    middles = [float(predicted[job]["p50"]) for job in actual]
    assert pinball(true, middles, 0.5) < 1.2 * pinball(true, means, 0.5)


def test_every_operation_has_its_sentence(run: Run) -> None:
    sentences = run.section("Minutes by operation").splitlines()
    [seats] = [line for line in sentences if line.startswith("- **cut-seats**")]
    [estimate] = [row for row in run.rows("estimates") if row["op"] == "cut-seats"]
    jobs = [
        job
        for job in run.shop.history.jobs
        if any("cut-seats" in row.operations for row in job.clockings)
    ]
    alone = sum(
        row.operations == ("cut-seats",) for job in jobs for row in job.clockings
    )

    assert len(sentences) == 12
    assert (
        f"book 12 min a set-up and 4.2 min a valve; your last {len(jobs)} jobs "
        f"({alone} clocked by themselves) say " in seats
    )
    shown = "{unit:.2f} ({unit_lo:.2f}-{unit_hi:.2f}) a valve".format(
        **{name: float(text) for name, text in estimate.items() if name != "op"}
    )
    assert shown in seats
    assert re.search(r"Your jobs count \d\d %, the book \d %\.", seats)


def test_what_to_clock_next_is_said(run: Run) -> None:
    assert len(run.section("Clock these by themselves next").splitlines()) == 2


def test_records_that_went_wrong_are_found(run: Run) -> None:
    listed = run.section("Records that look like no ordinary work").splitlines()
    rows = {line.split(", ")[1] for line in listed if line.startswith("- ")}

    past = {row for row in run.shop.incidents if row.startswith("P")}
    # Listed are those that are likelier an incident than not; one whose factor is
    # near 1 cannot be told.
    assert len(rows & past) / len(rows) > 2 / 3
    assert len(rows & past) / len(past) > 0.5


def test_extras_are_told_in_raw_counts(run: Run) -> None:
    cracked = [each for each in run.shop.findings if each.finding == "cracked"]
    [said] = [
        line
        for line in run.section("What may come on top").splitlines()
        if line.startswith("- **cracked**")
    ]

    assert (
        f"in {sum(each.affected > 0 for each in cracked)} of your {len(cracked)} "
        f"inspected jobs, {sum(each.affected for each in cracked)} of "
        f"{sum(each.at_risk for each in cracked)} looked at." in said
    )
    hot = [
        each
        for each in cracked
        if run.shop.circumstances[each.job].reason == "overheated"
    ]
    found = sum(each.affected > 0 for each in hot)
    assert f"reason overheated: {found} of {len(hot)} jobs" in said
    assert "It brings close-crack: " in said


def test_learning_again_gives_the_same_bytes(run: Run, tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", run.shop)
    learn(folder, "--out", tmp_path / "learnt")

    for name in ("estimates.csv", "predictions.csv", "report.md"):
        again = (tmp_path / "learnt" / name).read_bytes()
        assert again == (run.out / name).read_bytes()


# Little to learn from.


def few(shop: Shop, jobs: int) -> Shop:
    """Return the shop as it was after a few of its jobs."""
    kept = shop.history.jobs[:jobs]
    names = {job.job for job in kept}
    return replace(
        shop,
        history=replace(shop.history, jobs=kept),
        findings=tuple(each for each in shop.findings if each.job in names),
    )


def test_three_jobs_leave_the_book_and_claim_nothing(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", few(simulate(3, 3), 3))

    result = learn(folder, "--out", tmp_path)

    assert result.exit_code == 0, result.output
    sentences = section(tmp_path, "Minutes by operation")
    assert "too few jobs (0): book" in sentences
    assert "by your shop's general pace" in sentences
    extras = section(tmp_path, "What may come on top")
    assert "3 jobs inspected, too few to say anything; it takes 10." in extras
    assert " of your " not in extras


def test_without_a_record_every_time_is_the_book_s(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(3, 3))
    (folder / "clockings.csv").write_text("row,job,minutes\n", "utf-8")

    result = learn(folder, "--out", tmp_path)

    assert result.exit_code == 0, result.output
    assert section(tmp_path, "What your past jobs say") == (
        "There is no record to learn from yet: every time is the book's."
    )
    with (tmp_path / "estimates.csv").open(encoding="utf-8", newline="") as file:
        estimates = {row["op"]: float(row["unit"]) for row in csv.DictReader(file)}
    assert estimates["cut-seats"] == pytest.approx(4.2)
    assert section(tmp_path, "Clock these by themselves next") == ""


def test_whole_jobs_only_are_said_not_to_tell_operations_apart(
    tmp_path: Path,
) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 60, clocked=0))

    result = learn(folder, "--out", tmp_path)

    assert result.exit_code == 0, result.output
    assert "how it divides among its operations is not" in section(
        tmp_path, "What your past jobs say"
    )
    assert len(section(tmp_path, "Clock these by themselves next").splitlines()) == 2


def test_a_record_that_is_no_use_is_listed_with_the_reason(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 12))
    path = folder / "clockings.csv"
    header, *rows = path.read_text("utf-8").splitlines()
    spoilt = [row.rpartition(",")[0] for row in rows[:3]]
    path.write_text(
        "\n".join(
            [
                header,
                f"{spoilt[0]},0",
                f"{spoilt[1]},-12",
                f"{spoilt[2]},1000000",
                *rows[3:],
            ]
        ),
        "utf-8",
    )

    result = learn(folder, "--out", tmp_path)

    assert result.exit_code == 0, result.output
    listed = section(tmp_path, "Records that were not learnt from").splitlines()
    reasons = {line.split(": ")[0].split(", ")[1]: line for line in listed}
    first, second, third = (row.split(",")[0] for row in spoilt)
    assert reasons[first].endswith(": no minutes, or none above 0.")
    assert reasons[second].endswith(": no minutes, or none above 0.")
    assert "more than 30 times the book" in reasons[third]


def test_heads_not_worth_going_on_with_are_told_apart(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 12))
    path = folder / "findings.csv"
    jobs = sorted({row.split(",")[0] for row in path.read_text().splitlines()[1:]})
    past = [job for job in jobs if job.startswith("P")]
    with path.open("a", encoding="utf-8") as file:
        for number, job in enumerate(past):
            file.write(f"{job},condemned,1,{int(number < 2)}\n")

    learn(folder, "--out", tmp_path)

    assert (
        "- **condemned** (not worth going on with): in 2 of your 12 inspected jobs, "
        "2 of 12 looked at." in section(tmp_path, "What may come on top")
    )


# What is said beside the folder.


def test_the_book_may_be_written_for_another_material(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 60))

    learn(folder, "--out", tmp_path, "--material", "iron", "--date", "2025-07-01")

    said = section(tmp_path, "What your past jobs say")
    assert "(iron and standard)" in said
    assert "Times are those of 2025-07-01" in said


# Refusals.


def test_every_problem_is_named_and_nothing_written(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 3))
    cells = folder / "cells.csv"
    cells.write_text(cells.read_text("utf-8") + "P00000,polish,2\n", "utf-8")
    jobs = folder / "jobs.csv"
    jobs.write_text(jobs.read_text("utf-8").replace("aluminium", "", 1), "utf-8")
    findings = folder / "findings.csv"
    findings.write_text(findings.read_text("utf-8") + "P00000,warped,1,2\n", "utf-8")

    result = learn(folder, "--out", tmp_path / "learnt")

    assert result.exit_code == 2
    assert result.stdout == ""
    said = result.stderr.splitlines()
    assert len(said) == 2
    assert "column op: found 'polish'; no such row in operations.csv" in said[0]
    assert "column affected: found '2'; at most the 1 at risk" in said[1]
    assert not (tmp_path / "learnt").exists()


def test_a_folder_that_is_none_is_named(tmp_path: Path) -> None:
    result = learn(tmp_path / "nothing here", "--out", tmp_path / "learnt")

    assert result.exit_code == 2
    assert "is no folder" in result.stderr


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    folder = past_jobs(tmp_path / "past-jobs", simulate(4, 3))
    (tmp_path / "file").write_text("in the way", "utf-8")

    result = learn(folder, "--out", tmp_path / "file" / "learnt")

    assert result.exit_code == 2
    assert "cannot be written" in result.stderr


# The shop's own records.


@pytest.fixture
def records(tmp_path: Path) -> str:
    """Return the address of records with one job that was clocked."""
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    database = Database(url)
    database.upgrade()
    shop = Workshop(database)
    key = shop.save("16v twin cam valve job", customer=shop.customer("Osgood"))
    at = now()
    with database.transaction() as session:
        people.open_shop(session, "ada", "Ada", "three short words", "UTC", at=at.at)
        quote = quotes.quote_of(session, key)
        yes = Consent(by="Mabel", how=How.PHONE)
        quotes.accept(session, quote, quote.version, 1, yes, at.at, at)
        order = orders.book_in(session, quote, BookedIn(), at)
        bench.clock(session, order, Decimal(240), at)
        bench.write_found(session, order, {"guides-worn": (16, 3)}, at)
        orders.move(session, order, order.version, OrderMove.MAKE_READY, at)
    database.close()
    return url


def test_without_a_folder_the_records_are_learnt_from(
    records: str, tmp_path: Path
) -> None:
    out = tmp_path / "learnt"
    said = learn("--database", records, "--out", out)

    assert said.exit_code == 0, said.output
    assert said.stdout.startswith("1 past jobs and ")
    assert "1 past job from" in section(out, "What your past jobs say")
    assert "1 job inspected, too few" in section(out, "What may come on top")


def test_earlier_jobs_are_kept_beside_the_shop_s_own_and_only_once(
    records: str, tmp_path: Path
) -> None:
    """Three jobs of a spreadsheet and one of the records: four to learn from."""
    folder = tmp_path / "earlier"
    folder.mkdir()
    for name, text in EARLIER.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    for _ in range(2):
        said = learn(folder, "--keep", "--database", records)
        assert said.exit_code == 0, said.output
        assert said.stdout.startswith("4 past jobs and ")
    database = Database(records)
    with database.reading() as session:
        assert [row.jobs for row in session.scalars(select(EarlierJobs))] == [3]
        state = learning.state(session)
        assert state is not None
        line = state[1].labour.line("SCUT")
        assert (line.jobs, line.clocked) == (4, 2)
        worn = state[1].tendencies["guides-worn"].counts()
        assert (worn.jobs, worn.affected) == (3, 7)
    database.close()


def test_earlier_jobs_with_a_problem_are_not_kept_at_all(
    records: str, tmp_path: Path
) -> None:
    for name, text in EARLIER.items():
        (tmp_path / f"{name}.csv").write_text(
            text.replace("J3,SCUT", "J9,SCUT"), "utf-8"
        )
    said = learn(tmp_path, "--keep", "--database", records)
    assert said.exit_code == 2
    assert "no such row in jobs.csv" in said.output
    database = Database(records)
    with database.reading() as session:
        assert session.scalars(select(EarlierJobs)).all() == []
    database.close()


EARLIER = {
    "operations": "op,book_setup,book_unit\nSCUT,16,4.5\nSKIM,28,6.5\n",
    "jobs": "job,date\nJ1,2025-03-01\nJ2,2025-04-01\nJ3,2025-05-01\n",
    "cells": ("job,op,qty\nJ1,SCUT,16\nJ1,SKIM,1\nJ2,SCUT,8\nJ3,SCUT,16\nJ3,SKIM,1\n"),
    "clockings": ("row,job,minutes,ops\nR1,J1,130,\nR2,J2,60,SCUT\nR3,J3,95,SCUT\n"),
    "findings": (
        "job,finding,at_risk,affected\nJ1,guides-worn,16,4\nJ2,guides-worn,8,0\n"
    ),
}


def test_a_folder_without_a_place_for_the_files_is_refused(tmp_path: Path) -> None:
    said = learn(tmp_path)
    assert said.exit_code == 2
    assert "--out FOLDER" in said.output
