"""From the work asked for to the work to be done: what, on which valves, and why.

Pure. ``plan`` lays sets of work out, adds what work brings along, leaves out what the
head's condition makes needless, refuses what may not be done, and says what it had to
leave open. It knows no price: that is ``pricing``.
"""

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.head import COUNTS, FACTS, Head, Position
from quoting.domain.job import ALL, Asked, AskedSet, Job, Selection
from quoting.domain.money import ONE
from quoting.domain.rates import Condition, Operation, Relation
from quoting.domain.zones import LOOSE, Alike, Portion, Zone, alike


class UnknownOperationError(RuleError):
    """The edition has no such operation."""

    message = translatable("There is no operation {operation} in the rate tables.")


class UnknownHeadError(RuleError):
    """A tag names no head of the job."""

    message = translatable("No head {tag} came; these did: {tags}.")


class NotOnThisHeadError(RuleError):
    """A side, cylinder, position or number that the layout does not have."""

    message = translatable("{operation}: {what} is not on {layout}: {has}.")


class NothingToCountError(RuleError):
    """The heads of the job have nothing that the operation is counted by."""

    message = translatable("{operation}: {layout} has no {noun}.")


class NumberNeededError(RuleError):
    """The operation is counted by something that only a person knows."""

    message = translatable("{operation}: say how many {noun}.")


class WholeNumberNeededError(RuleError):
    """Things that are counted come in whole numbers."""

    message = translatable("{operation}: {number} is not a whole number of {noun}.")


class OneHeadNeededError(RuleError):
    """A bare number stands on one head."""

    message = translatable(
        "{operation}: a number stands on one head; write one row for each head."
    )


class NotBySelectionError(RuleError):
    """The operation is not counted by what was picked."""

    message = translatable("{operation} is counted by {noun}; {what} cannot be picked.")


class NoHeadError(RuleError):
    """Loose parts came, and the operation needs a head."""

    message = translatable(
        "{operation}: no head came; say how many {noun}, or take a head in."
    )


class NotOnFactError(RuleError):
    """The operation may not be done on what this head is or has."""

    message = translatable("{operation} on head {tag}: {reason}.")


class NotWithError(RuleError):
    """Two operations cannot be done together."""

    message = translatable("{operation} and {other}: {reason}.")


class Refusal(NamedTuple):
    """One refusal: the row of the job it is about, and why.

    ``table`` is ``work`` or ``sets``, ``row`` counts its rows from 0.
    """

    table: str
    row: int
    error: RuleError


class RefusedError(RuleError):
    """Work that was asked for cannot be done as asked; every row of it is named."""

    message = translatable("{listing}")

    def __init__(self, refusals: Iterable[Refusal]) -> None:
        self.refusals = tuple(refusals)
        listing = "\n".join(str(refusal.error) for refusal in self.refusals)
        super().__init__(listing=listing)


class Task(NamedTuple):
    """An operation asked for, and the portions it comes to.

    ``everywhere`` tells that the portions are all that the job's heads have, and that
    the heads are alike.
    """

    asked: Asked
    operation: Operation
    portions: tuple[Portion, ...]
    everywhere: bool = False

    def on(self, portions: Iterable[Portion]) -> "Task":
        """Return the task on some of its portions only."""
        return self._replace(portions=tuple(portions), everywhere=False)


@dataclass(frozen=True, slots=True)
class Notice:
    """Something left out or left open: the sentence, and what it is about."""

    operation: str
    text: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done.

    Attributes:
        tasks: in process order; of one operation in the order asked.
        left_out: what belongs to a set of work and is left out of it.
        sets: the sets of work, asked for or proposed by the reason it came.
        notices: what was left out, and why.
        questions: what must be asked back.
        set_aside: rules that somebody set aside, by name and with a reason.
    """

    tasks: tuple[Task, ...]
    left_out: tuple[Task, ...]
    sets: tuple[AskedSet, ...]
    notices: tuple[Notice, ...]
    questions: tuple[Notice, ...]
    set_aside: tuple[Notice, ...] = ()


def plan(edition: Edition, job: Job) -> Plan:
    """Lay out everything that is to be done on *job*.

    Raises:
        RefusedError: work was asked for that the heads do not have or that a relation
            forbids, and nobody set that aside. Every such row is named.
    """
    return _Planner(edition, job).plan()


class _Planner:
    def __init__(self, edition: Edition, job: Job) -> None:
        self.edition = edition
        self.job = job
        self.tags = [head.tag for head in job.heads]
        self.groups = alike(job.heads)
        self.tasks: dict[str, list[Task]] = {}
        self.left_out: list[Task] = []
        self.notices: list[Notice] = []
        self.questions: list[Notice] = []
        self.set_aside: list[Notice] = []
        self.refusals: list[Refusal] = []

    def plan(self) -> Plan:
        job, edition, tasks = self.job, self.edition, self.tasks
        sets = _sets(edition, job)
        self._ask()
        for row, asked in enumerate(sets):
            self._lay_out(row, asked)
        if job.propose:
            members = {
                code for asked in sets for code in edition.sets[asked.set].operations
            }
            self._bring_along([t for of in tasks.values() for t in of], members)
        for code, of in tasks.items():
            if len(of) > 1:
                tasks[code] = self._once_each(of)
        if edition.relations:
            self._replace()
            self._check_company()
        if self.refusals:
            raise RefusedError(self.refusals)
        if len(tasks) > 1:
            order = [code for code in edition.operations if code in tasks]
        else:
            order = list(tasks)
        return Plan(
            tasks=tuple([task for code in order for task in tasks[code]]),
            left_out=tuple(self.left_out),
            sets=sets,
            notices=tuple(dict.fromkeys(self.notices)),
            questions=tuple(dict.fromkeys(self.questions)),
            set_aside=tuple(dict.fromkeys(self.set_aside)),
        )

    @cached_property
    def single(self) -> Mapping[str, Alike]:
        """Return each head by itself, by its tag."""
        return {head.tag: alike((head,))[0] for head in self.job.heads}

    # What was asked for, row by row.

    def _ask(self) -> None:
        operations, forbidden = self.edition.operations, self.edition.related("not_on")
        heads = self.groups[0] if len(self.groups) == 1 else None
        for row, asked in enumerate(self.job.work):
            code = asked.operation
            try:
                if (operation := operations.get(code)) is None:
                    raise UnknownOperationError(operation=code)
                every: tuple[Portion, ...] = ()
                if heads and asked.which is ALL and not asked.heads:
                    every = heads.all_of(operation.counted_by)
                portions = every or self._portions(asked, operation)
                if code in forbidden:
                    portions = self._allowed(asked, operation, portions)
            except RuleError as error:
                self.refusals.append(Refusal("work", row, error))
                continue
            task = Task(asked, operation, portions, everywhere=portions is every)
            if code in self.tasks:
                self.tasks[code].append(task)
            else:
                self.tasks[code] = [task]

    def _groups(self, named: Sequence[str]) -> Sequence[Alike]:
        if not named:
            return self.groups
        for tag in named:
            if tag not in self.tags:
                raise UnknownHeadError(tag=tag, tags=", ".join(self.tags) or "none")
        if len(set(named)) == len(self.tags):
            return self.groups
        return [self.single[tag] for tag in self.tags if tag in named]

    def _portions(self, asked: Asked, operation: Operation) -> tuple[Portion, ...]:
        which, counted_by = asked.which, operation.counted_by
        groups = self._groups(asked.heads)
        by = COUNTS[counted_by].by
        if by == "job":
            return (Portion(_lasting(groups).whole if groups else LOOSE, (), ONE),)
        if not groups:
            return self._loose(operation, which, by)
        if which is not ALL and which != ALL:
            portions = self._selected(asked, operation, groups, by)
        elif COUNTS[counted_by].by_people:
            noun = COUNTS[counted_by].plural
            raise NumberNeededError(operation=operation.name, noun=noun)
        elif len(groups) == 1:
            portions = groups[0].all_of(counted_by)
        else:
            portions = tuple([p for group in groups for p in group.all_of(counted_by)])
        if not portions:
            raise NothingToCountError(
                operation=operation.name,
                layout=groups[0].layout.name,
                noun=COUNTS[counted_by].singular,
            )
        return portions

    def _selected(
        self, asked: Asked, operation: Operation, groups: Sequence[Alike], by: str
    ) -> tuple[Portion, ...]:
        which = asked.which
        if which.number is not None:
            return (self._number(asked, operation, which.number, by),)
        if by == "position":
            if picked := tuple(self._picked(which, operation, groups)):
                return picked
            raise NotOnThisHeadError(
                operation=operation.name,
                what="what is picked",
                layout=groups[0].layout.name,
                has="side, cylinders and positions leave nothing in common",
            )
        if by == "cylinder" and not which.side and not which.positions:
            return tuple(self._cylinders(which, operation, groups))
        raise NotBySelectionError(
            operation=operation.name,
            noun=COUNTS[operation.counted_by].singular,
            what=which.side.word if which.side else "a valve or cylinder",
        )

    def _loose(
        self, operation: Operation, which: Selection, by: str
    ) -> tuple[Portion, ...]:
        noun = COUNTS[operation.counted_by].plural
        if which.number is None:
            raise NoHeadError(operation=operation.name, noun=noun)
        _whole(operation, which.number, by)
        return (Portion(LOOSE, (), which.number, which.side),)

    def _number(
        self, asked: Asked, operation: Operation, number: Decimal, by: str
    ) -> Portion:
        side = asked.which.side
        _whole(operation, number, by)
        if len(asked.heads) > 1:
            raise OneHeadNeededError(operation=operation.name)
        heads = [self.single[tag] for tag in asked.heads or self.tags]
        if COUNTS[operation.counted_by].by_people:
            on = heads[0]
        else:
            having = {
                head: sum(
                    portion.quantity
                    for portion in head.all_of(operation.counted_by)
                    if side is None or portion.zone.side is side
                )
                for head in heads
            }
            on = max(heads, key=lambda head: having[head])
            if number > having[on]:
                noun = COUNTS[operation.counted_by].plural
                what = f"{number} {side.word if side else ''} {noun}".replace("  ", " ")
                raise NotOnThisHeadError(
                    operation=operation.name,
                    what=what,
                    layout=on.layout.name,
                    has=f"it has {having[on]}",
                )
        if len(heads) > 1:
            text = f"{operation.name}: which head are the {number} on?"
            self.questions.append(Notice(operation.code, text))
        return Portion(on.whole, (), number, side)

    def _picked(
        self, which: Selection, operation: Operation, groups: Sequence[Alike]
    ) -> Iterator[Portion]:
        layout = groups[0].layout
        missing = _missing(which, [head for group in groups for head in group.heads])
        if missing:
            raise NotOnThisHeadError(
                operation=operation.name,
                what=missing,
                layout=layout.name,
                has=f"it has {layout.cylinders} cylinders with {layout.inlet} inlet "
                f"and {layout.exhaust} exhaust valves each",
            )
        exact = frozenset(which.positions)

        def wanted(position: Position) -> bool:
            return (
                (not exact or position in exact)
                and (which.side is None or position.side is which.side)
                and (not which.cylinders or position.cylinder in which.cylinders)
            )

        if exact:
            groups = [self.single[tag] for group in groups for tag in group.tags]
        for group in groups:
            yield from group.some_of(operation.counted_by, wanted)

    def _cylinders(
        self, which: Selection, operation: Operation, groups: Sequence[Alike]
    ) -> Iterator[Portion]:
        for group in groups:
            layout = group.layout
            beyond = [c for c in which.cylinders if not 1 <= c <= layout.cylinders]
            if beyond:
                raise NotOnThisHeadError(
                    operation=operation.name,
                    what=f"cylinder {beyond[0]}",
                    layout=layout.name,
                    has=f"it has {layout.cylinders} cylinders",
                )
            each = layout.counts[operation.counted_by] // layout.cylinders
            if each:
                count = each * len(set(which.cylinders)) * len(group.heads)
                yield Portion(group.whole, (), Decimal(count))

    # What a relation forbids on a head.

    def _forbidding(self, operation: Operation, zone: Zone) -> Relation | None:
        forbidden = self.edition.related("not_on")
        for relation, condition in forbidden.get(operation.code, ()):
            if condition.met_by(zone.facts):
                return relation
        return None

    def _allowed(
        self, asked: Asked, operation: Operation, portions: tuple[Portion, ...]
    ) -> tuple[Portion, ...]:
        """Leave out forbidden zones; refuse where they were named or nothing stays."""
        found = [(p, self._forbidding(operation, p.zone)) for p in portions]
        if not any(relation for _, relation in found):
            return portions
        if asked.despite:
            for portion, relation in found:
                if relation:
                    heads = " and ".join(portion.zone.tags)
                    self._set_aside(operation, f"on head {heads}", relation, asked)
            return portions
        allowed = tuple(portion for portion, relation in found if not relation)
        named = bool(asked.heads) or asked.which != ALL
        for portion, relation in found:
            if relation is None:
                continue
            if named or not allowed:
                raise NotOnFactError(
                    operation=operation.name,
                    tag=" and ".join(portion.zone.tags),
                    reason=relation.reason,
                )
            self._note_left_out(operation, portion, relation.reason)
        return allowed

    def _set_aside(
        self, operation: Operation, where: str, relation: Relation, asked: Asked
    ) -> None:
        """Put on record that somebody set a rule aside, and why."""
        if asked.despite:
            by, why = asked.despite
            text = f"{operation.name} {where}, although {relation.reason}: {by}, {why}"
            self.set_aside.append(Notice(operation.code, text))

    def _note_left_out(
        self, operation: Operation, portion: Portion, reason: str
    ) -> None:
        zone = portion.zone
        where = f"{zone.side.word} side" if zone.side else "head"
        tag = f" {', '.join(zone.tags)}" if len(self.tags) > 1 else ""
        text = f"{operation.name} left out, {where}{tag}: {reason}"
        self.notices.append(Notice(operation.code, text))

    # Sets of work.

    def _lay_out(self, row: int, asked_set: AskedSet) -> None:
        edition, declined = self.edition, self.job.declined
        try:
            groups = self._groups(asked_set.heads)
        except RuleError as error:
            self.refusals.append(Refusal("sets", row, error))
            return
        for code in edition.sets[asked_set.set].operations:
            operation = edition.operations[code]
            done: list[Portion] = []
            dropped: list[Portion] = []
            job_wide = operation.counted_by == "job"
            for group in [_lasting(groups)] if job_wide and groups else groups:
                needless = not group.condition.isdisjoint(operation.left_out_when)
                for portion in group.all_of(operation.counted_by):
                    relation = self._forbidding(operation, portion.zone)
                    if relation:
                        self._note_left_out(operation, portion, relation.reason)
                    leave = needless or relation or code in declined
                    (dropped if leave else done).append(portion)
            size = asked_set.size if operation.step is not None else None
            asked = Asked(code, asked_set.heads, size=size, set=asked_set.set)
            asked = self._absorb(asked)
            if done:
                everywhere = not dropped and groups is self.groups and len(groups) == 1
                task = Task(asked, operation, tuple(done), everywhere)
                self.tasks.setdefault(code, []).append(task)
            if dropped:
                self.left_out.append(Task(asked, operation, tuple(dropped)))
            if dropped and code in declined:
                text = f"{operation.name} left out: {declined[code]}"
                self.notices.append(Notice(code, text))

    def _absorb(self, member: Asked) -> Asked:
        """Take the size of a plain row that asks for a member of a set once more."""
        tasks = self.tasks.get(member.operation, [])
        for task in tasks:
            asked = task.asked
            plain = not (asked.own or asked.again) and asked.warranty is None
            heads = set(member.heads or self.tags)
            everywhere = not asked.heads or set(asked.heads) >= heads
            if plain and everywhere and not asked.set and asked.which == ALL:
                tasks.remove(task)
                return replace(member, size=asked.size or member.size)
        return member

    # What work brings along.

    def _bring_along(self, waiting: list[Task], members: Container[str]) -> None:
        brings = self.edition.related("brings")
        while waiting:
            task = waiting.pop(0)
            code = task.operation.code
            if task.asked.set or code in members or code not in brings:
                continue
            for relation, condition in brings[code]:
                if relation.beside and relation.beside not in self.tasks:
                    continue
                if brought := self._brought(task, relation, condition):
                    self.tasks.setdefault(relation.other, []).append(brought)
                    waiting.append(brought)

    def _brought(
        self, task: Task, relation: Relation, condition: Condition
    ) -> Task | None:
        operation = self.edition.operations[relation.other]
        portions = tuple(self._same_place(task, operation, condition))
        if not portions:
            return None
        if (reason := self.job.declined.get(operation.code)) is not None:
            text = f"{operation.name} declined: {reason}"
            self.notices.append(Notice(operation.code, text))
            return None
        if COUNTS[operation.counted_by].by_people:
            text = f"{relation.reason}: how much {operation.name}?"
            self.questions.append(Notice(operation.code, text))
            return None
        asked = Asked(
            operation.code,
            which=task.asked.which,
            warranty=task.asked.warranty,
            because=relation.reason,
        )
        return Task(asked, operation, portions)

    def _same_place(
        self, task: Task, operation: Operation, condition: Condition
    ) -> Iterator[Portion]:
        """Yield where *task* brings *operation* along and it is not yet done."""
        already = [p for t in self.tasks.get(operation.code, ()) for p in t.portions]
        sided = bool(condition.fact) and FACTS[condition.fact].scope == "side"
        by_position = operation.by_position
        for portion in task.portions:
            group = portion.zone.alike
            if group is None or not group.condition.isdisjoint(operation.left_out_when):
                continue
            facts = portion.zone.facts if sided else group.whole.facts
            if not condition.met_by(facts):
                continue
            if by_position and portion.positions:
                done = {position for other in already for position in other.positions}
                wanted = frozenset(portion.positions) - done
                found = group.some_of(operation.counted_by, wanted.__contains__)
            else:
                done_on = {tag for other in already for tag in other.zone.tags}
                found = self._on_the_rest(task, portion, operation, done_on)
            allowed = [p for p in found if not self._forbidding(operation, p.zone)]
            already += allowed
            yield from allowed

    def _on_the_rest(
        self, task: Task, portion: Portion, operation: Operation, done_on: set[str]
    ) -> tuple[Portion, ...]:
        """Return where an operation is brought along on heads that lack it so far."""
        group = portion.zone.alike
        if group is None or done_on.issuperset(group.tags):
            return ()
        if operation.by_position and task.operation.by_position:
            return (portion,)  # so many valves, not yet known which
        groups = [group]
        if not done_on.isdisjoint(group.tags):
            groups = [self.single[tag] for tag in group.tags if tag not in done_on]
        if COUNTS[operation.counted_by].by_people:
            return (portion,)
        return tuple(p for rest in groups for p in rest.all_of(operation.counted_by))

    # What excludes or replaces each other.

    def _once_each(self, tasks: Sequence[Task]) -> list[Task]:
        """Let each valve, and each head, have an operation once.

        Rows with a price set by hand or under warranty come first, then the first row;
        what is set up again is done again.
        """
        positions: set[Position] = set()
        heads: set[str] = set()
        kept = []
        for task in sorted(tasks, key=_plain):
            asked = task.asked
            if asked.again:
                kept.append(task)
                continue
            fresh: list[Portion] = []
            lost: list[Portion] = []
            for portion in task.portions:
                if portion.positions:
                    (now, before) = _split(portion, positions)
                    fresh += now
                    lost += before
                    positions.update(portion.positions)
                elif asked.which == ALL and portion.zone.alike:
                    for tag in portion.zone.tags:
                        alone = self.single[tag].all_of(task.operation.counted_by)
                        (lost if tag in heads else fresh).extend(alone)
                        heads.add(tag)
                else:
                    fresh.append(portion)
            if fresh:
                kept.append(task.on(fresh))
            if lost and asked.set:
                self.left_out.append(task.on(lost))
            elif lost and not asked.because:
                text = f"{task.operation.name}: asked for twice, priced once"
                self.notices.append(Notice(task.operation.code, text))
        return kept

    def _replace(self) -> None:
        """Take positions away from what a relation says is replaced there."""
        replaces = self.edition.related("replaces")
        for code in [code for code in self.tasks if code in replaces]:
            for relation, condition in replaces[code]:
                gone = {
                    position
                    for task in self.tasks[code]
                    for portion in task.portions
                    if condition.met_by(portion.zone.facts)
                    for position in portion.positions
                }
                before = self.tasks.get(relation.other, [])
                after = [_without(task, gone) for task in before]
                if after == before:
                    continue
                self.tasks[relation.other] = [task for task in after if task.portions]
                if not self.tasks[relation.other]:
                    del self.tasks[relation.other]
                name = self.edition.operations[relation.other].name
                text = f"{name}: {relation.reason}"
                self.notices.append(Notice(relation.other, text))

    def _check_company(self) -> None:
        not_with, needs = (
            self.edition.related("not_with"),
            self.edition.related("needs"),
        )
        for code, tasks in self.tasks.items():
            for relation, condition in not_with.get(code, ()):
                self._refuse_company(relation, condition, tasks)
            for relation, condition in needs.get(code, ()):
                self._note_need(relation, condition, tasks)

    def _refuse_company(
        self, relation: Relation, condition: Condition, tasks: Sequence[Task]
    ) -> None:
        others = self.tasks.get(relation.other, ())
        clash = _clash(tasks, others, condition)
        if not clash:
            return
        other = self.edition.operations[relation.other].name
        despite = [t.asked for t in (*tasks, *others) if t.asked.despite]
        if despite:
            where = f"with {other.lower()}"
            self._set_aside(clash.operation, where, relation, despite[0])
            return
        error = NotWithError(
            operation=clash.operation.name, other=other, reason=relation.reason
        )
        self.refusals.append(Refusal("work", self._row_of(clash), error))

    def _note_need(
        self, relation: Relation, condition: Condition, tasks: Sequence[Task]
    ) -> None:
        if relation.other in self.tasks:
            return
        needed = self.edition.operations[relation.other]
        by_customer = all(
            not group.condition.isdisjoint(needed.left_out_when)
            for group in self.groups
        )
        zones = [portion.zone for task in tasks for portion in task.portions]
        if not by_customer and any(condition.met_by(zone.facts) for zone in zones):
            name = self.edition.operations[relation.operation].name
            first = f"{needed.name.lower()} comes first and is not in this price"
            text = f"{name}: {first} ({relation.reason})"
            self.notices.append(Notice(relation.operation, text))

    def _row_of(self, task: Task) -> int:
        rows = [row for row, a in enumerate(self.job.work) if a is task.asked]
        return rows[0] if rows else 0


def _sets(edition: Edition, job: Job) -> tuple[AskedSet, ...]:
    """Return the sets asked for, else the one that the reason it came proposes."""
    if job.sets or not job.propose or not job.reason or not job.heads:
        return job.sets
    proposed = edition.reasons[job.reason].set
    return (AskedSet(proposed),) if proposed else ()


def _whole(operation: Operation, number: Decimal, by: str) -> None:
    """Refuse a broken number of what is counted in whole ones."""
    if by != "measured" and number != number.to_integral_value():
        noun = COUNTS[operation.counted_by].plural
        raise WholeNumberNeededError(operation=operation.name, number=number, noun=noun)


def _missing(which: Selection, heads: Sequence[Head]) -> str:
    """Return what of a selection none of *heads* has; empty where all is there."""
    for position in which.positions:
        if not any(position in head.positions(position.side) for head in heads):
            return position.filed
    if which.side and not any(head.positions(which.side) for head in heads):
        return f"the {which.side.word} side"
    for cylinder in which.cylinders:
        if not any(1 <= cylinder <= head.layout.cylinders for head in heads):
            return f"cylinder {cylinder}"
    return ""


def _narrowed(portion: Portion, positions: tuple[Position, ...]) -> Portion:
    each = portion.quantity / len(portion.positions)
    return portion._replace(positions=positions, quantity=each * len(positions))


def _split(
    portion: Portion, taken: Container[Position]
) -> tuple[list[Portion], list[Portion]]:
    """Return what of a portion is not yet *taken*, and what is."""
    free = tuple(p for p in portion.positions if p not in taken)
    rest = tuple(p for p in portion.positions if p in taken)
    return (
        [_narrowed(portion, free)] if free else [],
        [_narrowed(portion, rest)] if rest else [],
    )


def _without(task: Task, gone: Container[Position]) -> Task:
    if not any(p in gone for portion in task.portions for p in portion.positions):
        return task
    portions = [
        kept
        for portion in task.portions
        for kept in (_split(portion, gone)[0] if portion.positions else [portion])
    ]
    return task.on(portions)


def _clash(
    tasks: Iterable[Task], others: Iterable[Task], condition: Condition
) -> Task | None:
    """Return a task that is done where one of *others* is done and the facts hold."""
    taken = [portion for other in others for portion in other.portions]
    for task in tasks:
        for portion in task.portions:
            if not condition.met_by(portion.zone.facts):
                continue
            for other in taken:
                if set(portion.zone.tags).isdisjoint(other.zone.tags):
                    continue
                if not portion.positions or not other.positions:
                    return task
                if not frozenset(portion.positions).isdisjoint(other.positions):
                    return task
    return None


def _plain(task: Task) -> bool:
    """Tell whether nothing was set by hand for a task; false sorts first."""
    return task.asked.own is None and task.asked.warranty is None


def _lasting(groups: Sequence[Alike]) -> Alike:
    """Return the first heads that go on, else the first: they carry the job's work."""
    going = [group for group in groups if not group.heads[0].condemned_at]
    return (going or list(groups))[0]
