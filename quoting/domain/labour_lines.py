"""Step 1 of the calculation: from the work to be done to its labour lines.

Pure. Base and unit price come together from one place; valves that agree in base, unit
price and modifiers make one line; a head's base stands on the first line that has work
on that head. Minutes are the edition's, times the job's factor.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from quoting.domain.basis import Basis, by_code, total
from quoting.domain.head import Fact, Head, Position, Side
from quoting.domain.job import Asked, AskedSet, FreeLine, OwnPrice
from quoting.domain.lengths import Length, steps
from quoting.domain.lines import Line
from quoting.domain.money import ONE, ZERO, apportion
from quoting.domain.rates import AgreedPrice, Modifier, Operation, Rate, narrowest
from quoting.domain.work import Notice, Plan, Task
from quoting.domain.zones import Alike, Portion, alike

SIXTY = Decimal(60)


def labour_lines(basis: Basis, work: Plan) -> list[Line]:
    """Return the labour lines of *work*: each set with its adjustment, then the rest.

    Within a set, and within the rest, lines follow the process order.

    Raises:
        TaxCodeEndedError: a code of a customer who owes no tax has no rate that day.

    Source:
        docs/costing.md, step 1; base and unit price, pair break and one price for a
        set are common practice, no source.
    """
    return _Labour(basis).lines(work)


def free_line(basis: Basis, free: FreeLine) -> Line:
    """Return the line of work that no table knows: hours at a rate, or an amount.

    Its minutes are 60 to the hour, and cost the shop's own rate.

    Raises:
        TaxCodeEndedError: as ``labour_lines``.

    Source:
        docs/costing.md, step 1.
    """
    shop = basis.edition.shop
    code = free.tax_code or shop.tax_labour
    hours = free.hours or ZERO
    rate = shop.hourly_rate if free.rate is None else free.rate
    exact = hours * rate if free.amount is None else free.amount
    charged, net = basis.share(basis.cents(exact), code, free.group)
    shares = ((charged, net),)
    return Line(
        kind="free",
        code="",
        description=free.description,
        net=net,
        group=free.group,
        shares=shares,
        tax_code=charged,
        quantity=free.hours,
        noun="hour" if free.hours is not None else "",
        unit_price=rate if free.amount is None else None,
        minutes=hours * SIXTY,
        cost=basis.cents(hours * shop.cost_rate),
        discounted=shares if free.discountable else (),
    )


class _Scaling(NamedTuple):
    """What the facts of a zone multiply."""

    unit: Decimal
    line: Decimal
    minutes_unit: Decimal
    minutes_line: Decimal
    modifiers: tuple[Modifier, ...]


_NEUTRAL = _Scaling(ONE, ONE, ONE, ONE, ())


class _Bucket:
    """A line in the making: portions that agree in base, unit price and modifiers."""

    __slots__ = (
        "at_most", "bases", "heads", "minutes", "positions", "quantity", "rate",
        "rate_of", "scaling", "side", "task", "unit",
    )  # fmt: skip

    def __init__(
        self,
        task: Task,
        rate: Rate,
        unit: Decimal,
        scaling: _Scaling,
        side: Side | None,
    ) -> None:
        self.task = task
        self.rate = rate
        self.unit = unit
        self.scaling = scaling
        self.side = side
        self.heads: tuple[str, ...] = ()
        self.rate_of: dict[str, Rate] = {}
        self.positions: tuple[Position, ...] = ()
        self.quantity = self.bases = self.minutes = ZERO
        self.at_most = False

    def takes(self, task: Task, rate: Rate, unit: Decimal, scaling: _Scaling) -> bool:
        """Tell whether a portion agrees with those on this line."""
        if self.scaling is not scaling and self.scaling != scaling:
            return False
        if self.task is not task and not _alike(self.task.asked, task.asked):
            return False
        if rate.timed:
            return self.rate.setup == rate.setup and self.rate.each == rate.each
        return (
            self.unit == unit
            and self.rate.base == rate.base
            and self.rate.agreed == rate.agreed
        )

    def add(
        self, portion: Portion, rate: Rate, side: Side | None, quantity: Decimal
    ) -> None:
        """Take a portion in; its minutes go by its own rate."""
        tags = portion.zone.tags
        if tags != self.heads:
            self.heads = tuple(dict.fromkeys((*self.heads, *tags)))
        if rate is not self.rate:
            self.rate_of.update(dict.fromkeys(tags, rate))
        self.positions += portion.positions
        if self.side is not side:
            self.side = None
        self.quantity += quantity
        self.minutes += rate.each * quantity * self.scaling.minutes_unit

    def set_up(self, tag: str, share: Decimal) -> None:
        """Put a share of one head's base on this line."""
        self.bases += share
        self.minutes += self.rate_of.get(tag, self.rate).setup * share

    @property
    def base_worth(self) -> Decimal:
        """Return what one base adds to the line: money, or minutes where timed."""
        base = self.rate.setup if self.rate.timed else self.rate.base
        return base * self.scaling.line


def _alike(one: Asked, other: Asked) -> bool:
    """Tell whether two rows may stand on one line."""
    return (
        one.set == other.set
        and one.size == other.size
        and not (one.own or one.again or other.own or other.again)
        and one.warranty is other.warranty is None
    )


class _Labour:
    def __init__(self, basis: Basis) -> None:
        self.basis = basis
        self.edition = basis.edition
        self.job = basis.job
        self.by_hand = any(asked.own for asked in basis.job.work)
        self.rates: dict[str, Mapping[str, Rate]] = {}
        self.kept: dict[object, list[Line]] | None = None
        groups = alike(basis.job.heads)
        if len(groups) == 1 and not basis.job.agreed and not basis.relieved:
            kept = self.edition.kept.setdefault(groups[0], {})
            self.kept = kept.setdefault(
                (self.job.minutes_factor, basis.exempt, *basis.by_group.items()), {}
            )

    def lines(self, work: Plan) -> list[Line]:
        by_set: dict[str, list[Line]] = {asked.set: [] for asked in work.sets}
        lines: list[Line] = []
        for tasks in _by_operation(work.tasks):
            for line in self._kept(tasks):
                (by_set[line.set] if line.set else lines).append(line)
        if not by_set:
            return lines
        in_sets: list[Line] = []
        for code, members in by_set.items():
            rows = [asked for asked in work.sets if asked.set == code]
            in_sets += self._of_set(work, rows, members)
        return in_sets + lines

    # One operation.

    def _kept(self, tasks: Sequence[Task]) -> Sequence[Line]:
        """Return the lines of an operation, kept from before if nothing is special.

        What is kept is a plain operation on all of alike heads: every keystroke on
        the phone asks for the same again (docs/decisions/0007-kept-lines.md).
        """
        task = tasks[0]
        asked = task.asked
        special = asked.own or asked.again or asked.warranty is not None
        if self.kept is None or not task.everywhere or special or len(tasks) > 1:
            return self._operation(tasks)
        key = (task.operation.code, asked.set, asked.because, asked.size)
        if (lines := self.kept.get(key)) is None:
            lines = self.kept[key] = self._operation(tasks)
        return lines

    def _operation(self, tasks: Sequence[Task]) -> list[Line]:
        operation = tasks[0].operation
        buckets = self._buckets(operation, tasks)
        self._set_ups(operation, buckets)
        lines = [self._line(operation, bucket) for bucket in buckets]
        if self.by_hand and any(bucket.task.asked.own for bucket in buckets):
            return self._own_prices(operation, lines, buckets)
        least = buckets[0].rate.minimum
        if len(buckets) > 1:
            least = max(bucket.rate.minimum for bucket in buckets)
        if least:
            return self._lifted(
                lines,
                self.basis.owed(least, operation.tax_code, operation.income_group),
            )
        return lines

    def _lifted(self, lines: list[Line], least: Decimal) -> list[Line]:
        """Add to the last line what is missing from the operation's minimum."""
        if (short := least - total(line.net for line in lines)) > 0:
            last = lines[-1]
            lifted = _renewed(last, last.net + short, discounted=bool(last.discounted))
            lines[-1] = lifted._replace(minimum=short)
        return lines

    def _buckets(self, operation: Operation, tasks: Sequence[Task]) -> list[_Bucket]:
        buckets: list[_Bucket] = []
        by_position = operation.by_position
        modified = operation.code in self.edition.modifiers_of
        portions = [(task, portion) for task in tasks for portion in task.portions]
        if len(portions) > 2:
            portions.sort(key=_exhaust_later)
        heads = portions[0][1].zone.alike
        rate = self._rate(operation, heads)
        for task, portion in portions:
            zone = portion.zone
            side, at_most = zone.side or portion.side, False
            if zone.alike is not heads:
                heads = zone.alike
                rate = self._rate(operation, heads)
            unit = rate.exhaust if side is Side.EXHAUST else rate.inlet
            scaling = self._scaling(operation, zone.facts) if modified else _NEUTRAL
            if by_position and zone.side is None and zone.alike is not None:
                side, unit, scaling, at_most = self._unknown_place(
                    operation, zone.heads[0], portion, rate
                )
            quantity = portion.quantity
            if operation.step is not None:
                quantity *= _steps(operation, operation.step, task.asked.size)
            for bucket in buckets:
                if bucket.takes(task, rate, unit, scaling):
                    break
            else:
                bucket = _Bucket(task, rate, unit, scaling, side)
                buckets.append(bucket)
            bucket.add(portion, rate, side, quantity)
            if at_most:
                bucket.at_most = True
        return buckets

    def _unknown_place(
        self, operation: Operation, head: Head, portion: Portion, rate: Rate
    ) -> tuple[Side | None, Decimal, _Scaling, bool]:
        """Price valves not yet known which as the dearest that they may be."""
        choices = []
        for side in [portion.side] if portion.side else list(Side):
            places = head.positions(side)
            known = [head.known(side)] if places else []
            known += [head.known(p) for p in places if p in head.position_facts]
            for facts in known:
                scaling = self._scaling(operation, facts)
                worth = rate.unit(side) * scaling.unit * scaling.line
                if rate.timed:
                    worth = rate.each * scaling.minutes_unit * scaling.minutes_line
                choices.append((worth, side, rate.unit(side), scaling))
        worth, dearest, unit, scaling = max(choices, key=lambda choice: choice[0])
        at_most = any(choice[0] != worth for choice in choices)
        if at_most and portion.side is None:
            number = portion.quantity.normalize()
            text = (
                f"{operation.name}: are the {number:f} inlet or exhaust? "
                "The dearer side is priced."
            )
            self.basis.questions.append(Notice(operation.code, text))
        return dearest if at_most else portion.side, unit, scaling, at_most

    def _set_ups(self, operation: Operation, buckets: Sequence[_Bucket]) -> None:
        """Give each head's base to the first line that has work on that head."""
        if operation.base_per == "job" or not self.job.heads:
            max(buckets, key=lambda bucket: bucket.base_worth).set_up("", ONE)
        else:
            first: dict[str, _Bucket] = {}
            for bucket in buckets:
                for tag in bucket.heads:
                    first.setdefault(tag, bucket)
            full = next(iter(first))
            if len(buckets) > 1:
                full = max(first, key=lambda tag: first[tag].base_worth)
            for tag, bucket in first.items():
                bucket.set_up(tag, ONE if tag == full else operation.pair_break)
        for bucket in buckets:
            if bucket.task.asked.again:
                for tag in bucket.heads:
                    bucket.set_up(tag, ONE)

    def _line(self, operation: Operation, bucket: _Bucket) -> Line:
        basis, rate, scaling = self.basis, bucket.rate, bucket.scaling
        bases, quantity, asked = bucket.bases, bucket.quantity, bucket.task.asked
        centre = self.edition.work_centres[operation.work_centre]
        exact = rate.base * bases + bucket.unit * quantity * scaling.unit
        minutes = bucket.minutes
        if scaling is not _NEUTRAL:
            exact *= scaling.line
            minutes *= scaling.minutes_line
        minutes *= self.job.minutes_factor
        if rate.timed:
            exact = minutes * centre.hourly_rate / SIXTY
        charged, net = basis.share(
            basis.cents(exact), operation.tax_code, operation.income_group
        )
        shares = ((charged, net),)
        stepped = operation.step is not None
        full = not operation.discountable or rate.agreed or asked.warranty is not None
        # By position, in the order of Line's fields: half the time of keywords, and
        # every labour line of every price comes by here.
        return Line(
            "labour",
            operation.code,
            operation.name,
            net,
            operation.income_group,
            shares,
            charged,
            bucket.heads,
            bucket.positions,
            bucket.side,
            quantity,
            "step" if stepped else operation.counted_by,
            None if rate.timed else rate.base,
            bases,
            centre.hourly_rate if rate.timed else bucket.unit,
            scaling.modifiers,
            minutes,
            basis.cents(minutes * centre.cost_rate / SIXTY),
            () if full else shares,
            asked.because,
            asked.set,
            asked.size if stepped else None,
            rate.timed,
            bucket.at_most,
            asked.warranty,
        )

    def _own_prices(
        self, operation: Operation, lines: list[Line], buckets: Sequence[_Bucket]
    ) -> list[Line]:
        """Replace the nets of what has a price set by hand; keep the list nets."""
        rows: dict[int, tuple[OwnPrice, list[int]]] = {}
        for index, bucket in enumerate(buckets):
            asked = bucket.task.asked
            if asked.own:
                rows.setdefault(id(asked), (asked.own, []))[1].append(index)
        for own, indexes in rows.values():
            amount = self.basis.owed(
                own.amount, operation.tax_code, operation.income_group
            )
            weights = [lines[index].net for index in indexes]
            if not total(weights):
                weights = [ONE] * len(weights)
            nets = apportion(amount, weights, self.basis.unit)
            for index, net in zip(indexes, nets, strict=True):
                line = _renewed(lines[index], net, discounted=own.discountable)
                listed = lines[index].net
                lines[index] = line._replace(list_net=listed, reason=own.reason)
        return lines

    def _rate(self, operation: Operation, heads: Alike | None) -> Rate:
        size_class = heads.size_class if heads else ""
        if size_class not in self.rates:
            self.rates[size_class] = self.edition.rates(size_class)
        listed = self.rates[size_class][operation.code]
        if self.job.agreed and (agreed := self._agreed(operation.code, size_class)):
            return listed.under(agreed)
        return listed

    def _agreed(self, code: str, size_class: str) -> AgreedPrice | None:
        agreed = self.job.agreed
        return agreed.get((code, size_class)) or agreed.get((code, ""))

    def _scaling(self, operation: Operation, facts: Mapping[str, Fact]) -> _Scaling:
        met = tuple(
            modifier
            for modifier, condition in self.edition.modifiers_of.get(operation.code, ())
            if condition.met_by(facts)
        )
        if not met:
            return _NEUTRAL
        unit = line = minutes_unit = minutes_line = ONE
        for modifier in met:
            if modifier.works_on != "minutes":
                if modifier.scales == "unit":
                    unit *= modifier.factor
                else:
                    line *= modifier.factor
            if modifier.works_on != "price":
                if modifier.scales == "unit":
                    minutes_unit *= modifier.factor
                else:
                    minutes_line *= modifier.factor
        return _Scaling(unit, line, minutes_unit, minutes_line, met)

    # Sets at one price.

    def _whole(self, work: Plan, code: str, members: Iterable[Line]) -> Decimal:
        """Return the sum of a set's lines, had nothing been left out."""
        whole = total(line.net for line in members)
        left_out = sorted(work.left_out, key=lambda task: task.operation.place)
        for dropped in _by_operation(left_out):
            operation = dropped[0].operation
            done = [t for t in work.tasks if t.operation is operation and t.asked.set]
            for line in self._operation([*done, *dropped]):
                whole += line.net if line.set == code else ZERO
            for line in self._operation(done) if done else ():
                whole -= line.net if line.set == code else ZERO
        return whole

    def _of_set(
        self, work: Plan, rows: Sequence[AskedSet], members: list[Line]
    ) -> list[Line]:
        """Return the lines of a set, and under them what brings them to its price."""
        prices = [self._set_price(asked) for asked in rows]
        negotiated = any(fixed for _, fixed in prices)
        if negotiated:
            members = [line._replace(discounted=()) for line in members]
        figures = [figure for figure, _ in prices if figure is not None]
        if not members or len(figures) < len(rows):
            return members
        whole = self._whole(work, rows[0].set, members)
        line = self._set_line(rows, members, total(figures), whole)
        return [*members, line if not negotiated else line._replace(discounted=())]

    def _set_price(self, asked: AskedSet) -> tuple[Decimal | None, bool]:
        """Return a row's figure, and whether it is agreed or set by hand."""
        if asked.own is not None:
            return asked.own.amount, not asked.own.discountable
        figures, per, negotiated = [], "head", False
        heads = self._heads(asked)
        of_set = [row for row in self.edition.set_prices if row.set == asked.set]
        for head in heads:
            row = narrowest(of_set, head.layout)
            agreed = self._agreed(asked.set, head.layout.size_class)
            if row:
                per = row.per
            if agreed is not None and agreed.price is not None:
                figures.append(agreed.price)
                negotiated = True
            elif row:
                figures.append(row.price)
        if not figures or len(figures) < len(heads):
            return None, negotiated
        return (max(figures) if per == "job" else total(figures)), negotiated

    def _heads(self, asked: AskedSet) -> list[Head]:
        return [h for h in self.job.heads if not asked.heads or h.tag in asked.heads]

    def _set_line(
        self,
        rows: Sequence[AskedSet],
        members: Sequence[Line],
        figure: Decimal,
        whole: Decimal,
    ) -> Line:
        """Make the line that brings a set to its price.

        A price from a table is for the whole set and shrinks with what is left out, one
        set by hand is for what is asked for; both shrink where a head is condemned.
        """
        code = rows[0].set
        remaining = total(line.net for line in members)
        if self.basis.relieved or self.basis.by_group:
            figure = self._relieved(members, figure)
        by_hand = any(asked.own for asked in rows)
        stopped = any(h.condemned_at for asked in rows for h in self._heads(asked))
        if whole and remaining != whole and (stopped or not by_hand):
            figure = self.basis.cents(figure * remaining / whole)
        net = figure - remaining
        weights = [line.net for line in members] if remaining else [ONE] * len(members)
        parts = apportion(net, weights, self.basis.unit)
        pairs = list(zip(members, parts, strict=True))
        shares = by_code((line.tax_code, part) for line, part in pairs)
        discounted = by_code((ln.tax_code, part) for ln, part in pairs if ln.discounted)
        return Line(
            kind="set_price",
            code=code,
            description=self.edition.sets[code].name,
            net=net,
            group="labour",
            shares=tuple(shares.items()),
            heads=tuple(dict.fromkeys(tag for line in members for tag in line.heads)),
            unit_price=figure,
            cost=ZERO,
            discounted=tuple(discounted.items()),
            set=code,
        )

    def _relieved(self, members: Sequence[Line], figure: Decimal) -> Decimal:
        """Return a set's figure without the tax in it, by its members' own codes."""
        nets: dict[tuple[str, str], Decimal] = {}
        for line in members:
            of = self.edition.operations[line.code]
            key = (of.tax_code, of.income_group)
            nets[key] = nets.get(key, ZERO) + line.net
        shares = apportion(figure, list(nets.values()), self.basis.unit)
        return total(
            self.basis.owed(share, code, group)
            for (code, group), share in zip(nets, shares, strict=True)
        )


def _by_operation(tasks: Iterable[Task]) -> list[list[Task]]:
    """Gather tasks of one operation that stand together."""
    gathered: list[list[Task]] = []
    for task in tasks:
        if gathered and gathered[-1][0].operation is task.operation:
            gathered[-1].append(task)
        else:
            gathered.append([task])
    return gathered


def _exhaust_later(entry: tuple[Task, Portion]) -> bool:
    return (entry[1].zone.side or entry[1].side) is Side.EXHAUST


def _renewed(line: Line, net: Decimal, *, discounted: bool) -> Line:
    shares = ((line.tax_code, net),)
    return line._replace(
        net=net, shares=shares, discounted=shares if discounted else ()
    )


def _steps(operation: Operation, step: Decimal, size: Length | None) -> int:
    if size is None:
        return 0
    return steps(size, operation.included, step, operation.step_unit)
