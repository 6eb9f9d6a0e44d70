"""Exchange surcharges: held until the old unit comes back, or kept when it does not."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from quoting.domain import journal as posting
from quoting.store.models import (
    DocumentIssued,
    SurchargeHeld,
)
from quoting.workflow import invoices, journal, numbers
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.payments import NoReasonError, NothingHeldError
from quoting.workflow.quotes import Now


def keep(session: Session, held: SurchargeHeld, why: str, now: Now) -> SurchargeHeld:
    """Earn what is left of an exchange surcharge whose old unit did not come back.

    Raises:
        MonthLockedError: the month is closed.
        NothingHeldError: nothing is held.
        NoReasonError: *why* is empty.
    """
    if not why.strip():
        raise NoReasonError
    if held.held <= 0:
        raise NothingHeldError(what=held.description)
    currency = invoices.content(session, held.document_id).currency
    number = numbers.take(session, "surcharge kept", now.on)
    journal.post(
        session,
        "surcharge kept",
        number,
        now.on,
        posting.of_surcharge_kept(currency.from_minor(held.held)),
        currency,
        now,
        customer_id=held.document.customer_id,
        narrative=f"{held.document.number}: {why}",
    )
    held.kept, held.held, held.kept_on = held.held, 0, now.on
    held.kept_number, held.why = number, why.strip()
    held.kept_at, held.kept_by = now.at, now.who
    session.flush()
    return held


def held(session: Session) -> list[SurchargeHeld]:
    """Return every exchange surcharge that is held, the oldest first."""
    return list(
        session.scalars(
            select(SurchargeHeld)
            .where(SurchargeHeld.held > 0)
            .order_by(SurchargeHeld.id)
        )
    )


def of_document(session: Session, document: DocumentIssued) -> list[SurchargeHeld]:
    """Return the exchange surcharges that a document charged."""
    return list(
        session.scalars(
            select(SurchargeHeld).where(SurchargeHeld.document_id == document.id)
        )
    )


def of_key(session: Session, surcharge_id: int) -> SurchargeHeld:
    """Return an exchange surcharge by key.

    Raises:
        NoSuchRecordError: there is none.
    """
    row = session.get(SurchargeHeld, surcharge_id)
    if row is None:
        raise NoSuchRecordError(what="surcharge", key=surcharge_id)
    return row
