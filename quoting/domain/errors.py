"""What the shop's rules refuse, in one English sentence each.

Pure. A refusal is a ``RuleError``: a sentence with named gaps and the values for the
gaps, so that a caller can say it in another language. A table or job file that cannot
be read is a ``ProblemsError``: every problem at once, each with its place.
"""

from collections.abc import Iterable
from dataclasses import dataclass


def translatable(text: str) -> str:
    """Return *text* unchanged; marks a sentence for the message catalogue.

    >>> translatable("Not in the rate table: {codes}")
    'Not in the rate table: {codes}'
    """
    return text


class RuleError(Exception):
    """A rule of the shop or of arithmetic refuses; nothing was changed.

    Attributes:
        message: an English sentence with ``{named}`` gaps.
        values: what fills the gaps.
    """

    message = translatable("This is not possible.")

    def __init__(self, **values: object) -> None:
        self.values = values
        super().__init__(self.message.format(**values))


#: How much of what was found a message repeats.
_SHOWN = 80


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a file: where it is, what was found, what is allowed.

    ``row`` counts from 1 and is the line that a spreadsheet or editor shows; it is
    None where the whole file is meant. A ``warning`` does not stop the reading.
    """

    file: str
    row: int | None
    column: str
    found: str
    allowed: str
    warning: bool = False

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            place.append(f"column {self.column}")
        shown = self.found[:_SHOWN] + ("…" if len(self.found) > _SHOWN else "")
        found = f"found {shown!r}; " if shown else ""
        kind = "warning: " if self.warning else ""
        return f"{', '.join(place)}: {kind}{found}{self.allowed}"


class ProblemsError(RuleError):
    """A file cannot be used; every problem in it is named and nothing was taken over.

    Attributes:
        problems: in the order of files and rows; at least one is no warning.
    """

    message = translatable("{count} problems:\n{listing}")

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        listing = "\n".join(str(problem) for problem in self.problems)
        super().__init__(count=len(self.problems), listing=listing)
