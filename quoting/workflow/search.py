"""Finding a customer, quote or work order by the beginning of any of its words.

What is found by is written when a record is saved: folded words, numbers with and
without their leading zeros, telephone numbers as their digits.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from sqlalchemy import ColumnElement, Select, and_, delete, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased, joinedload

from quoting.domain.life import QuoteState, state_of_offer
from quoting.store.models import Customer, Quote, SearchWord

MOST_FOUND = 12
#: Of these at most so many are customers when quotes are looked for as well.
_MOST_CUSTOMERS = 4
_LONGEST = 80
_LEAST = 2
#: Up to so many words they are looked up at once; words are counted to many at most.
_FEW, _MANY = 2_000, 30_000
#: So many records count as the newest.
_NEAR = 2_000
_SUBJECTS: Mapping[str, type[Customer] | type[Quote]] = {
    "customer": Customer,
    "quote": Quote,
}
_PIECES = re.compile(r"[^\W_]+")


class Hit(NamedTuple):
    """One thing found.

    Attributes:
        subject: ``customer`` or ``quote``.
        id: its key.
        number: its number; of a customer empty.
        title: whose it is.
        detail: what else tells it from others.
        state: of a quote or its work order, as it is written down.
        order: key of the work order, if there is one.
        valid_until: last day of an offer that has no work order.
    """

    subject: str
    id: int
    number: str
    title: str
    detail: str
    state: str
    order: int | None = None
    valid_until: date | None = None

    def state_on(self, on: date) -> str:
        """Return how far it is on a day: an offer that no longer holds has lapsed."""
        if self.valid_until is None:
            return self.state
        return state_of_offer(QuoteState(self.state), self.valid_until, on)


def fold(text: str) -> list[str]:
    """Return the words of *text* as they are compared: without case and accents.

    >>> fold("Zoë's Garage, W-00012")
    ['zoe', 's', 'garage', 'w', '00012']
    """
    plain = unicodedata.normalize("NFKD", text.casefold())
    return _PIECES.findall(
        "".join(char for char in plain if not unicodedata.combining(char))
    )


def words_of(texts: Iterable[str], numbers: Iterable[str] = ()) -> set[str]:
    """Return what something is found by.

    Args:
        texts: names and the like, by their words.
        numbers: telephone, order and casting numbers: whole, without what is between
            their digits and letters, and without leading zeros and letters.
    """
    found = {word for text in texts for word in fold(text)}
    for number in numbers:
        pieces = fold(number)
        bare = [piece.lstrip("0") for piece in pieces]
        found.update((*pieces, *bare, "".join(pieces), "".join(bare)))
    return {word[:_LONGEST] for word in found if word}


def index(session: Session, subject: str, subject_id: int, words: set[str]) -> None:
    """Keep the words that a subject is found by, instead of those kept before."""
    session.execute(
        delete(SearchWord).where(
            SearchWord.subject == subject, SearchWord.subject_id == subject_id
        )
    )
    session.add_all(
        SearchWord(word=word, subject=subject, subject_id=subject_id)
        for word in sorted(words)
    )


def search(
    session: Session, text: str, *, subjects: Sequence[str] = ("customer", "quote")
) -> list[Hit]:
    """Return what every word of *text* begins a word of: customers, then quotes.

    The newest come first, at most ``MOST_FOUND`` in all; nothing for fewer than two
    letters or figures.
    """
    terms = sorted(set(fold(text)), key=len, reverse=True)
    run = "".join(fold(text))
    found = _keys(session, terms, subjects)
    if not found and len(terms) > 1:
        found = _keys(session, [run], subjects)
    return _hits(session, found) if found else []


def _keys(
    session: Session, terms: Sequence[str], subjects: Sequence[str]
) -> list[tuple[str, int]]:
    if not terms or len(terms[0]) < _LEAST:
        return []
    found: list[tuple[str, int]] = []
    for subject in subjects:
        room = MOST_FOUND - len(found)
        most = room if subject == subjects[-1] else min(room, _MOST_CUSTOMERS)
        found += [(subject, key) for key in _newest(session, terms, subject, most)]
    return found


def _newest(
    session: Session, terms: Sequence[str], subject: str, most: int
) -> Sequence[int]:
    """Return the newest keys with all terms, by whichever way reads less.

    Where every term is common, those that are wanted mostly stand among the newest
    records, which are looked through first. Otherwise, and for a rare term at once,
    every record with the rarest term is looked up.
    """
    count, rarest = _rarest(session, terms, subject, _FEW)
    if count > _FEW:
        key = _SUBJECTS[subject].id
        newest = session.scalars(select(func.max(key))).one()
        near = select(key).where(key > newest - _NEAR)
        found = _with(session, near, subject, key, terms, most)
        if len(found) == most:
            return found
        _, rarest = _rarest(session, terms, subject, _MANY)
    word = aliased(SearchWord)
    query = (
        select(word.subject_id)
        .where(word.subject == subject, _begins(word, rarest))
        .distinct()
    )
    rest = [term for term in terms if term != rarest]
    return _with(session, query, subject, word.subject_id, rest, most)


def _with(
    session: Session,
    query: Select[int],
    subject: str,
    key: InstrumentedAttribute[int],
    terms: Iterable[str],
    most: int,
) -> Sequence[int]:
    """Return the newest keys of *query* that every term is found for."""
    for term in terms:
        query = query.where(_has(subject, key, term))
    return session.scalars(query.order_by(key.desc()).limit(most)).all()


def _rarest(
    session: Session, terms: Sequence[str], subject: str, most: int
) -> tuple[int, str]:
    """Return the term that begins the fewest words, and how many, counted to *most*."""
    counts = []
    for term in terms:
        some = (
            select(SearchWord.id)
            .where(SearchWord.subject == subject, _begins(SearchWord, term))
            .limit(most + 1)
            .subquery()
        )
        counts.append(
            (session.scalars(select(func.count()).select_from(some)).one(), term)
        )
    return min(counts)


def _has(
    subject: str, key: InstrumentedAttribute[int], term: str
) -> ColumnElement[bool]:
    word = aliased(SearchWord)
    return (
        select(word.id)
        .where(word.subject == subject, word.subject_id == key, _begins(word, term))
        .exists()
    )


def _begins(row: type[SearchWord], term: str) -> ColumnElement[bool]:
    term = term[:_LONGEST]
    after = term[:-1] + chr(ord(term[-1]) + 1)
    return and_(row.word >= term, row.word < after)


def _hits(session: Session, found: Sequence[tuple[str, int]]) -> list[Hit]:
    keys = {
        kind: [key for of, key in found if of == kind] for kind in ("customer", "quote")
    }
    customers = {
        row.id: row
        for row in session.scalars(
            select(Customer).where(Customer.id.in_(keys["customer"]))
        )
    }
    quotes = {
        row.id: row
        for row in session.scalars(
            select(Quote)
            .where(Quote.id.in_(keys["quote"]))
            .options(joinedload(Quote.customer), joinedload(Quote.order))
        )
    }
    return [
        _customer(customers[key]) if kind == "customer" else _quote(quotes[key])
        for kind, key in found
    ]


def _customer(row: Customer) -> Hit:
    return Hit("customer", row.id, "", row.name, row.phone, "")


def _quote(row: Quote) -> Hit:
    name = row.customer.name if row.customer else row.caller
    told = (row.engine, row.registration, row.order_number, row.casting)
    detail = " · ".join(text for text in told if text)
    order = row.order
    if order is None:
        state, until = row.state, row.valid_until
        return Hit("quote", row.id, row.number, name, detail, state, None, until)
    return Hit("quote", row.id, order.number, name, detail, order.state, order.id)
