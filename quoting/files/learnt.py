"""What was learnt from past jobs: two CSV tables and a report for the workshop."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from quoting.domain.errors import Problem, ProblemsError
from quoting.files.past_jobs import JOIN, PastJobs

if TYPE_CHECKING:
    from quoting.domain.calibration import Calibration
    from quoting.domain.extras import Tendency
    from quoting.domain.labour import Interval, Labour, Line

#: The shares of jobs that a prediction is given for.
QUANTILES = {"p05": 0.05, "p10": 0.1, "p50": 0.5, "p80": 0.8, "p90": 0.9, "p95": 0.95}

#: A level is pointed out where it has a finding so many times as often as the shop.
_STRIKING = 1.25


@dataclass(frozen=True, slots=True)
class Learnt:
    """Past jobs, and what they say.

    Attributes:
        past: the past jobs.
        labour: the shop's minutes.
        tendencies: how often each finding is made, by finding.
    """

    past: PastJobs
    labour: "Labour"
    tendencies: "Mapping[str, Tendency]"

    def files(self) -> Mapping[str, str]:
        """Return the text of every file, by name."""
        return {
            "estimates.csv": _csv(
                ("op", "setup", "unit", "unit_lo", "unit_hi"), self._estimates()
            ),
            "predictions.csv": _csv(("job", *QUANTILES), self._predictions()),
            "report.md": _Report(self).text(),
        }

    def write(self, folder: Path) -> tuple[Path, ...]:
        """Write every file into *folder*; return where they are.

        Raises:
            ProblemsError: a file cannot be written.
        """
        written = []
        for name, text in self.files().items():
            path = folder / name
            try:
                folder.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8", newline="")
            except OSError as error:
                said = f"cannot be written: {error.strerror}"
                raise ProblemsError([Problem(str(path), None, "", "", said)]) from error
            written.append(path)
        return tuple(written)

    def _estimates(self) -> Iterator[Sequence[str]]:
        for time in self.past.book:
            line = self.labour.line(time.operation)
            shown = [line.setup.median if line.setup else None]
            if line.unit:
                shown += [line.unit.median, line.unit.low, line.unit.high]
            shown += [None] * (4 - len(shown))
            yield (
                time.operation,
                *("" if each is None else f"{each:.6f}" for each in shown),
            )

    def _predictions(self) -> Iterator[Sequence[str]]:
        import numpy as np

        shares = np.array(list(QUANTILES.values()))
        for job in self.past.future:
            total = self.labour.total(
                job.cells,
                family=job.family,
                machinist=job.machinist,
                material=job.material,
                hardness=job.hardness,
            )
            yield (job.job, *(f"{each:.4f}" for each in total.quantiles(shares)))


def _csv(header: Iterable[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


class _Report:
    """The report, section by section."""

    def __init__(self, learnt: Learnt) -> None:
        self.past, self.tendencies = learnt.past, learnt.tendencies
        self.labour = learnt.labour
        self.learnt: Calibration = learnt.labour.calibration
        self.codes = [time.operation for time in learnt.past.book]

    def text(self) -> str:
        """Return it in Markdown."""
        sections = {
            "What your past jobs say": self._what_it_stands_on(),
            "Minutes by operation": map(self._sentence, self.codes),
            "Clock these by themselves next": self._next(),
            "What may come on top": self._extras(),
            "Records that look like no ordinary work": self._incidents(),
            "Records that were not learnt from": self._left_out(),
        }
        marks = ("#", *("##" for _ in sections))
        parts = []
        for mark, (heading, lines) in zip(marks, sections.items(), strict=False):
            if body := "\n".join(lines):
                parts.append(f"{mark} {heading}\n\n{body}\n")
        return "\n".join(parts)

    def _what_it_stands_on(self) -> Iterator[str]:
        history, learnt = self.learnt.history, self.learnt
        days = sorted(job.on for job in self.past.jobs)
        if not learnt.rows:
            yield "There is no record to learn from yet: every time is the book's."
            return
        yield (
            f"{_many(len(days), 'past job')} from {days[0]} to {days[-1]}, "
            f"{_many(learnt.rows, 'record')} of minutes. "
            f"Times are those of {history.today}; a job of two years before "
            "counts half of one of that day."
        )
        yield ""
        about = " and ".join(filter(None, (history.material, history.hardness)))
        heads = f"heads as the book has them ({about})" if about else "all heads alike"
        yield (
            f"They are for {heads}, done by your usual mixture of people. "
            "The figures in brackets hold 90 % of what is still believable."
        )
        if not learnt.clocked:
            yield ""
            yield (
                "Operations were never clocked by themselves: what a job takes as a "
                "whole is known, how it divides among its operations is not."
            )
        if learnt.step > 1:
            yield ""
            yield (
                f"Minutes come in steps of {learnt.step:g}; "
                "clocking to the minute tells more."
            )

    def _sentence(self, code: str) -> str:
        line = self.labour.line(code)
        word = self.past.units[code]
        book = " and ".join(
            f"{minutes:g} min a {what}"
            for minutes, what in ((line.book_setup, "set-up"), (line.book_unit, word))
            if minutes
        )
        own = " and ".join(
            f"{_interval(minutes)} a {what}"
            for minutes, what in ((line.setup, "set-up"), (line.unit, word))
            if minutes
        )
        if not own:
            return f"- **{code}**: no minutes in the book, so none to learn."
        if line.carried:
            said = (
                f"too few jobs ({line.jobs}): book {book}, carried to {own} "
                "by your shop's general pace"
            )
        else:
            said = (
                f"book {book}; your last {_many(line.jobs, 'job')} "
                f"({line.clocked} clocked by themselves) say {own}"
            )
        return f"- **{code}**: {said}.{self._usual(line)}{self._warning(line)}"

    def _usual(self, line: "Line") -> str:
        quantity = self.learnt.usual.get(line.operation)
        if not quantity or not line.setup or not line.unit:
            return ""
        units = round(quantity) or 1
        whole = self.labour.whole(line.operation, units)
        word = self.past.units[line.operation]
        return (
            f" With {_many(units, word)}: {_interval(whole)} min. "
            f"Your jobs count {line.own_weight:.0%}, the book "
            f"{1 - line.own_weight:.0%}."
        ).replace("%", " %")

    def _warning(self, line: "Line") -> str:
        if not line.check_book:
            return ""
        return " **Far from the book: check the book's minutes.**"

    def _next(self) -> Iterator[str]:
        for code in self.labour.clock_next() if self.learnt.rows else ():
            line = self.labour.line(code)
            yield (
                f"- **{code}**: {_many(line.jobs, 'job')}, {line.clocked} times "
                "clocked by itself; many minutes hang on it and they are uncertain."
            )

    def _extras(self) -> Iterator[str]:
        from quoting.domain.extras import CONDEMNED, LEAST_JOBS

        for finding, tendency in self.tendencies.items():
            counts = tendency.counts()
            if counts.jobs < LEAST_JOBS:
                yield (
                    f"- **{finding}**: {_many(counts.jobs, 'job')} inspected, "
                    f"too few to say anything; it takes {LEAST_JOBS}."
                )
                continue
            ends = " (not worth going on with)" if finding == CONDEMNED else ""
            yield (
                f"- **{finding}**{ends}: in {counts.with_any} of your "
                f"{_many(counts.jobs, 'inspected job')}, {counts.affected} of "
                f"{counts.at_risk} looked at.{self._striking(tendency)}"
                f"{self._work(finding)}"
            )

    def _striking(self, tendency: "Tendency") -> str:
        from quoting.domain.extras import ANY, LEAST_JOBS

        shop = tendency.counts()
        said = []
        for predictor, levels in tendency.levels.items():
            by = {
                level: tendency.counts(ANY._replace(**{predictor: level}))
                for level in levels
            }
            known = [level for level in by if by[level].jobs >= LEAST_JOBS]
            often = max(
                known, key=lambda level: by[level].with_any / by[level].jobs, default=""
            )
            if not often:
                continue
            its = by[often]
            if its.with_any * shop.jobs > _STRIKING * shop.with_any * its.jobs:
                said.append(f"{predictor} {often}: {its.with_any} of {its.jobs} jobs")
        return f" Most often with {', '.join(said)}." if said else ""

    def _work(self, finding: str) -> str:
        said = []
        for code in self.past.brings.get(finding, ()):
            line = self.labour.line(code)
            minutes = [
                f"{_minutes(each.median)} {what}"
                for each, what in ((line.setup, "once"), (line.unit, "each"))
                if each
            ]
            if minutes:
                said.append(f"{code}: {' and '.join(minutes)}")
        return f" It brings {', '.join(said)} (minutes)." if said else ""

    def _incidents(self) -> Iterator[str]:
        if not self.learnt.incidents:
            return
        yield (
            "A clock left running, an interruption, a slip of the pen? They count "
            "little; mend those that are wrong."
        )
        yield ""
        whole = {
            job.job: {cell.operation for cell in job.cells} for job in self.past.jobs
        }
        for each in self.learnt.incidents:
            what = JOIN.join(each.operations)
            if whole[each.job] == set(each.operations):
                what = "the whole job"
            yield (
                f"- {each.job}, {each.row}, {what}: {each.minutes:g} min written "
                f"down, about {_minutes(each.expected)} usual."
            )

    def _left_out(self) -> Iterator[str]:
        for each in self.learnt.left_out:
            place = ", ".join(filter(None, (each.job, each.row, each.operation)))
            yield f"- {place}: {each.why.value}."


def _many(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number:,} {word}s"


def _minutes(minutes: float) -> str:
    return f"{minutes:.{2 if minutes < 10 else 1 if minutes < 50 else 0}f}"


def _interval(interval: "Interval") -> str:
    digits = 2 if interval.median < 10 else 1 if interval.median < 50 else 0
    low, high = f"{interval.low:.{digits}f}", f"{interval.high:.{digits}f}"
    return f"{_minutes(interval.median)} ({low}-{high})"
