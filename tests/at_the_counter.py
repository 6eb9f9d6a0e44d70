"""Quotes, yeses and work orders for tests of the counter, and its forms filled in."""

import re
from dataclasses import replace
from decimal import Decimal
from html import unescape

from sqlalchemy import select

from quoting.domain.consent import Consent, How
from quoting.domain.job import AskedPart, Job
from quoting.domain.life import OrderMove
from quoting.domain.phrase import say
from quoting.domain.pricing import price
from quoting.store.models import Entry, PaperMade
from quoting.workflow import customers, documents, issuing, orders, quotes, rates
from quoting.workflow.orders import BookedIn
from quoting.workflow.quotes import About, Asked, Now

FOUR = "16v twin cam overheated"
GUIDES = "16v twin cam overheated, guides exhaust"
PAIR = "v6 24v x2 overheated"

_FORM = re.compile(r'<form method="post" action="([^"]*)"[^>]*>(.*?)</form>', re.DOTALL)
_HIDDEN = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')


class Shop:
    """The shop's records, worked on by its own rules at the clock's hour."""

    def __init__(self, database, clock):
        self.database, self.clock = database, clock

    @property
    def now(self):
        """Return who does something here, and when."""
        return Now("Test Person", self.clock(), self.clock().date())

    @property
    def edition(self):
        """Return the edition in force."""
        with self.database.reading() as session:
            return rates.in_force(session, self.now.on).edition

    def job(self, words, terms=""):
        """Return the job that the words mean, on some customer's terms."""
        edition = self.edition
        [candidate] = say(words, edition).candidates
        return replace(candidate.job, terms=edition.terms.get(terms))

    def told(self, words):
        """Return what the calculation makes of the words."""
        return price(self.edition, self.job(words), self.now.on).totals

    def customer(self, name="Brook Farm Engines", **details):
        """Write a customer down; return the key."""
        with self.database.transaction() as session:
            told = customers.Details(name, **details)
            return customers.save(session, told, at=self.clock(), who="Test Person").id

    def quote(self, *ways, draft=False, terms="", **about):
        """Save a quote of (label, words); return the key."""
        asked = [Asked(label, self.job(words, terms)) for label, words in ways]
        with self.database.transaction() as session:
            about = About(**about)
            return quotes.save(session, about, asked, self.now, draft=draft).id

    def yes(self, quote_id, place=1):
        """Record a yes."""
        with self.database.transaction() as session:
            row = quotes.quote_of(session, quote_id)
            consent = Consent("Brook", How.PHONE)
            quotes.accept(
                session, row, row.version, place, consent, self.clock(), self.now
            )
        return quote_id

    def revise(self, quote_id, *ways):
        """Add a revision."""
        asked = [Asked(label, self.job(words)) for label, words in ways]
        with self.database.transaction() as session:
            row = quotes.quote_of(session, quote_id)
            about = quotes.about(row)
            quotes.revise(session, row, row.version, about, asked, self.now)

    def order(self, words=FOUR, customer=None, terms=""):
        """Book the heads of an accepted quote in; return the order's key."""
        customer = customer or self.customer()
        key = self.yes(self.quote(("", words), customer_id=customer, terms=terms))
        with self.database.transaction() as session:
            row = quotes.quote_of(session, key)
            return orders.book_in(session, row, BookedIn(), self.now).id

    def goods(self, price, customer, *, surcharge=""):
        """Save a yes to one exchange head at a price before tax; return the key."""
        head = AskedPart(
            description="Exchange head", group="exchange", price=Decimal(price),
            tax_code="PAR", discountable=False, surcharge=surcharge,
        )  # fmt: skip
        about, asked = About(customer_id=customer), Asked("", Job((), parts=(head,)))
        with self.database.transaction() as session:
            key = quotes.save(session, about, [asked], self.now).id
        return self.yes(key)

    def owes(self, price, customer):
        """Invoice goods at a price before tax; return the key of the invoice."""
        quote = self.goods(price, customer)
        with self.database.transaction() as session:
            row = quotes.quote_of(session, quote)
            return documents.issue(session, [row], self.now).id

    def ready(self, quote_id):
        """Book in what was said yes to and make it ready; return the order's key."""
        with self.database.transaction() as session:
            row = quotes.quote_of(session, quote_id)
            order = orders.book_in(session, row, BookedIn(), self.now)
            orders.move(session, order, order.version, OrderMove.MAKE_READY, self.now)
            return order.id

    def read(self, quote_id):
        """Return a quote as it stands."""
        with self.database.reading() as session:
            row = quotes.quote_of(session, quote_id)
            row.yeses = quotes.approvals(session, row)
            row.ways_chosen = [yes.way.place for yes in row.yeses]
            row.money = orders.deposits(session, row)
            return row

    def order_now(self, order_id):
        """Return a work order as it stands."""
        with self.database.reading() as session:
            return orders.order_of(session, order_id)

    def rows(self, table):
        """Return every row of a table."""
        with self.database.reading() as session:
            return list(session.scalars(select(table)))

    def posted(self, event):
        """Return what the entries of an event post, by account."""
        return {
            f"{row.role} {row.detail}".strip(): row.amount
            for row in self.rows(Entry)
            if row.event == event
        }

    def paper(self, kind):
        """Return key and content of the only paper of a kind."""
        with self.database.reading() as session:
            query = select(PaperMade.id, PaperMade.html).where(PaperMade.kind == kind)
            [(key, html)] = session.execute(query)
            return key, unescape(html)

    def pdf(self, kind):
        """Return the file of the only paper of a kind."""
        return issuing.file_of(self.database, self.paper(kind)[0]).pdf


def form(browser, page, action):
    """Return what the form of a page that leads to *action* sends by itself."""
    text = browser.get(page).text
    bodies = [
        body for target, body in _FORM.findall(text) if unescape(target) == action
    ]
    return {name: unescape(value) for name, value in _HIDDEN.findall(bodies[0])}


def send(browser, page, action, **fields):
    """Fill in and send the form of a page that leads to *action*."""
    return browser.client.post(action, data={**form(browser, page, action), **fields})
