"""The journal: what each event of money does to the shop's accounts, always balanced.

Pure. An account is named by its role here; its code and name are rows of the shop's
own table. Amounts are Decimal in the currency of the event, debits above nothing and
credits below. Every function gives postings that add up to nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from quoting.domain.errors import RuleError, translatable
from quoting.domain.invoice import Document, Kind
from quoting.domain.money import ZERO
from quoting.domain.tax import Group, Tax


class Role(StrEnum):
    """What an account is for."""

    MONEY = "money"
    DEBTORS = "debtors"
    DEPOSITS = "deposits held"
    SURCHARGES = "exchange surcharges held"
    TAX = "output tax"
    INCOME = "income"
    ROUNDING = "cash rounding"
    BAD_DEBTS = "bad debts"
    DIFFERENCE = "cash difference"


#: Income that no line of an invoice brings: what is kept of what was held.
SURCHARGES_KEPT, DEPOSITS_KEPT = "surcharges kept", "deposits kept"
DISCOUNTS, SETTLEMENT = "discounts", "settlement discounts"
#: Where money lies: what was paid by a method, and the bank that cash is taken to.
CASH, BANK = "cash", "bank"


@dataclass(frozen=True, slots=True)
class Posting:
    """One line of an entry.

    Attributes:
        role: of the account.
        amount: a debit, or below nothing a credit.
        detail: which of the accounts of that role: method, income group, tax label.
        tax: of output tax, which.
        base: of output tax, what it was worked out on, with the sign of the amount.
    """

    role: Role
    amount: Decimal
    detail: str = ""
    tax: Tax | None = None
    base: Decimal = ZERO


class UnbalancedError(RuleError):
    """Debits and credits of an entry differ."""

    message = translatable("The entry is out by {amount}; nothing was posted.")


def balanced(postings: Iterable[Posting]) -> tuple[Posting, ...]:
    """Return the postings that are not nothing.

    Raises:
        UnbalancedError: they do not add up to nothing.
    """
    kept = tuple(each for each in postings if each.amount or each.base)
    if out := sum((each.amount for each in kept), ZERO):
        raise UnbalancedError(amount=out)
    return kept


# Documents.


def of_document(document: Document, method: str = "") -> tuple[Posting, ...]:
    """Return what issuing a document posts.

    An invoice charges the debtor what is due after deposits, and takes the deposits
    out of what is held; tax that fell due with a deposit is not posted again. A
    deposit invoice is paid at once by *method*. A credit note is an invoice turned
    round, one of a deposit invoice pays it back by *method*.

    Args:
        document: issued, or about to be.
        method: how a deposit was paid, or is paid back.

    Source:
        Double entry; docs/money.md sets the entries of one job beside each other.
    """
    sign = Decimal(-1) if document.kind is Kind.CREDIT else Decimal(1)
    deposit = any(item.kind == "deposit" for item in document.items)
    postings = [
        Posting(Role.MONEY, sign * document.gross, method)
        if deposit
        else Posting(Role.DEBTORS, sign * document.due)
    ]
    if deposit:
        postings.append(Posting(Role.DEPOSITS, -sign * document.net))
    else:
        postings += _earned(document.income, -sign)
    deducted: dict[Tax, Group] = {}
    for each in document.deposits:
        postings.append(Posting(Role.DEPOSITS, sign * (each.gross - each.tax)))
        for row in each.taxes:
            before = deducted.get(row.tax, Group(row.tax, ZERO, ZERO))
            deducted[row.tax] = Group(
                row.tax, before.base + row.base, before.amount + row.amount
            )
    for row in document.taxes:
        taken = deducted.pop(row.tax, Group(row.tax, ZERO, ZERO))
        rest = Group(row.tax, row.base - taken.base, row.amount - taken.amount)
        postings.append(_owed(rest, -sign))
    postings += [_owed(row, sign) for row in deducted.values()]
    return balanced(postings)


def _earned(income: Mapping[str, Decimal], sign: Decimal) -> list[Posting]:
    return [
        Posting(Role.SURCHARGES, sign * net)
        if group == "surcharges"
        else Posting(Role.INCOME, sign * net, group)
        for group, net in income.items()
    ]


def _owed(row: Group, sign: Decimal) -> Posting:
    return Posting(Role.TAX, sign * row.amount, row.tax.label, row.tax, sign * row.base)


# Money in and out.


def of_payment(
    amount: Decimal, method: str, rounding: Decimal = ZERO
) -> tuple[Posting, ...]:
    """Return what money from a customer posts; below nothing: paid back.

    Args:
        amount: received.
        method: how.
        rounding: what is settled besides by rounding to the cash step; below nothing
            where more was paid than is settled.
    """
    return balanced(
        [
            Posting(Role.MONEY, amount, method),
            Posting(Role.ROUNDING, rounding),
            Posting(Role.DEBTORS, -amount - rounding),
        ]
    )


def of_deposit(amount: Decimal, method: str) -> tuple[Posting, ...]:
    """Return what a deposit without tax posts; below nothing: paid back."""
    return balanced(
        [Posting(Role.MONEY, amount, method), Posting(Role.DEPOSITS, -amount)]
    )


def of_deposit_applied(gross: Decimal) -> tuple[Posting, ...]:
    """Return what paying an issued invoice from an untaxed deposit posts."""
    return balanced([Posting(Role.DEPOSITS, gross), Posting(Role.DEBTORS, -gross)])


def of_deposit_kept(
    gross: Decimal, taxes: Sequence[Group], *, taxed_before: bool
) -> tuple[Posting, ...]:
    """Return what keeping a deposit posts.

    Args:
        gross: kept.
        taxes: in it.
        taxed_before: they fell due on receipt; else they do now.
    """
    tax = sum((row.amount for row in taxes), ZERO)
    held = gross - tax if taxed_before else gross
    now = [] if taxed_before else [_owed(row, Decimal(-1)) for row in taxes]
    kept = Posting(Role.INCOME, tax - gross, DEPOSITS_KEPT)
    return balanced([Posting(Role.DEPOSITS, held), kept, *now])


def of_surcharge_kept(net: Decimal) -> tuple[Posting, ...]:
    """Return what a lapsed exchange surcharge posts: it is earned, without new tax."""
    return balanced(
        [
            Posting(Role.SURCHARGES, net),
            Posting(Role.INCOME, -net, SURCHARGES_KEPT),
        ]
    )


def of_write_off(gross: Decimal) -> tuple[Posting, ...]:
    """Return what writing a debt off posts; its tax stays until relief is claimed."""
    return balanced([Posting(Role.BAD_DEBTS, gross), Posting(Role.DEBTORS, -gross)])


def of_relief(taxes: Sequence[Group]) -> tuple[Posting, ...]:
    """Return what relief for the tax in a debt written off posts.

    Source:
        Where the law's conditions are met, for a licensed adviser to say: such as
        HMRC Notice 700/18, or A New Tax System (Goods and Services Tax) Act 1999,
        Division 21.
    """
    tax = sum((row.amount for row in taxes), ZERO)
    owed = [_owed(row, Decimal(1)) for row in taxes]
    return balanced([*owed, Posting(Role.BAD_DEBTS, -tax)])


def of_settlement(net: Decimal, taxes: Sequence[Group]) -> tuple[Posting, ...]:
    """Return what a discount for early payment posts, taken without a credit note."""
    tax = sum((row.amount for row in taxes), ZERO)
    return balanced(
        [
            Posting(Role.INCOME, net, SETTLEMENT),
            *[_owed(row, Decimal(1)) for row in taxes],
            Posting(Role.DEBTORS, -net - tax),
        ]
    )


def of_cash_count(difference: Decimal, banked: Decimal) -> tuple[Posting, ...]:
    """Return what the day's cash-up posts.

    Args:
        difference: counted less expected.
        banked: taken from the till to the bank.
    """
    return balanced(
        [
            Posting(Role.MONEY, difference, CASH),
            Posting(Role.DIFFERENCE, -difference),
            Posting(Role.MONEY, banked, BANK),
            Posting(Role.MONEY, -banked, CASH),
        ]
    )
