"""What changed between two priced ways to do a job, line by line.

Pure. Amounts are Decimal in the edition's currency and price mode.
"""

from collections.abc import Callable, Hashable, Sequence
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.lines import Line
from quoting.domain.money import ZERO
from quoting.domain.pricing import Priced


class Change(NamedTuple):
    """One line before and after; one of the two may be missing, never both."""

    before: Line | None
    after: Line | None

    @property
    def kind(self) -> str:
        """Return added, gone, changed or same."""
        if self.before is None:
            return "added"
        if self.after is None:
            return "gone"
        same = _said(self.before) == _said(self.after)
        return "same" if same else "changed"

    @property
    def amount(self) -> Decimal:
        """Return by how much the line is dearer than before."""
        before = self.before.net if self.before else ZERO
        after = self.after.net if self.after else ZERO
        return after - before

    @property
    def line(self) -> Line:
        """Return the line as it is now, or as it was where it is gone."""
        return next(line for line in (self.after, self.before) if line)


def changes(before: Priced, after: Priced) -> tuple[Change, ...]:
    """Return every line of two priced jobs, paired where it is the same work.

    A line finds the one that is alike in everything first, then the same work on the
    same side of the same heads, then the same work anywhere. Each line is in exactly
    one pair.

    Args:
        before: as it was agreed.
        after: as it is now.

    Returns:
        In the order of *after*; what is gone stands last. The amounts add up to the
        difference of the two sums of lines: of the nets, or where prices contain tax
        of the totals.
    """
    left = dict(enumerate(before.lines))
    partner: dict[int, Line] = {}
    for alike in _LOOSER:
        waiting: dict[Hashable, list[int]] = {}
        for place, line in left.items():
            waiting.setdefault(alike(line), []).append(place)
        for place, line in enumerate(after.lines):
            if place not in partner and (found := waiting.get(alike(line))):
                partner[place] = left.pop(found.pop(0))
    pairs = [Change(partner.get(i), line) for i, line in enumerate(after.lines)]
    return (*pairs, *(Change(line, None) for line in left.values()))


def _work(line: Line) -> tuple[Hashable, ...]:
    """Return what makes a line the same work; without a code its words do."""
    return line.kind, line.group, line.code or line.description


def _said(line: Line) -> tuple[Hashable, ...]:
    """Return what of a line a customer can notice a change in."""
    size = line.size.mm if line.size else None
    where = (line.side, line.heads, line.positions, line.quantity, size)
    return (*_work(line), line.description, *where, line.net)


_LOOSER: Sequence[Callable[[Line], Hashable]] = (
    _said,
    lambda line: (_work(line), line.side, line.heads),
    _work,
)
