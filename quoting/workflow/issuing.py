"""Papers that are kept: issued once with their content, printed from what is kept.

Issuing keeps the content in the transaction that takes the number. The file is made of
that content right afterwards and kept with its hash; a paper that lost its program in
between is finished by ``finish``. A reprint is the file that was kept, byte for byte.
"""

import hashlib
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session, undefer

from quoting.store import audit
from quoting.store.database import Database
from quoting.store.models import DocumentIssued, PaperMade
from quoting.workflow.customers import NoSuchRecordError

if TYPE_CHECKING:
    from quoting.papers.html import Paper


class File(NamedTuple):
    """A kept paper's file."""

    name: str
    pdf: bytes
    sha256: str


def issue(
    session: Session,
    paper: "Paper",
    *,
    kind: str,
    number: str,
    quote_id: int | None,
    at: datetime,
    who: str,
    customer_id: int | None = None,
) -> int:
    """Keep a paper's content; return its key.

    A paper of the same kind, number and content that was issued before is that one.
    One that is for no single quote is kept for its customer.
    """
    there = session.scalars(
        select(PaperMade)
        .where(
            PaperMade.quote_id == quote_id,
            PaperMade.customer_id == customer_id,
            PaperMade.kind == kind,
            PaperMade.number == number,
        )
        .order_by(PaperMade.id.desc())
        .options(undefer(PaperMade.html))
        .limit(1)
    ).one_or_none()
    if there is not None and there.html == paper.html:
        return there.id
    row = PaperMade(
        kind=kind,
        number=number,
        quote_id=quote_id,
        customer_id=customer_id,
        title=paper.title,
        made=paper.made,
        html=paper.html,
        issued=at,
        issued_by=who,
    )
    session.add(row)
    session.flush()
    audit.record(
        session,
        at=at,
        who=who,
        what="paper issued",
        subject="customer" if quote_id is None else "quote",
        subject_id=quote_id or customer_id or 0,
        new=f"{kind} {number}",
    )
    return row.id


def file_of(database: Database, paper_id: int) -> File:
    """Return a kept paper's file; make it first where that was not done yet.

    Raises:
        NoSuchRecordError: no such paper was issued.
        NoPdfError: the machine lacks what a PDF needs; the content stays kept.
    """
    with database.reading() as session:
        row = session.scalars(
            select(PaperMade)
            .where(PaperMade.id == paper_id)
            .options(undefer(PaperMade.html), undefer(PaperMade.pdf))
        ).one_or_none()
        if row is None:
            raise NoSuchRecordError(what="paper", key=paper_id)
        xml = None if row.pdf is not None else _xml_of(session, paper_id)
    name = f"{row.kind}-{row.number}".replace(" ", "-").replace("/", "-") + ".pdf"
    if row.pdf is not None:
        return File(name, row.pdf, row.sha256)
    from quoting.papers.html import Paper
    from quoting.papers.pdf import to_hybrid, to_pdf

    made = Paper(row.html, row.title, row.made)
    pdf = to_hybrid(made, xml) if xml else to_pdf(made)
    seal = hashlib.sha256(pdf).hexdigest()
    with database.transaction() as session:
        kept = session.scalars(
            select(PaperMade).where(PaperMade.id == paper_id).with_for_update()
        ).one()
        if not kept.sha256:
            kept.pdf, kept.sha256 = pdf, seal
            return File(name, pdf, seal)
    return file_of(database, paper_id)


def _xml_of(session: Session, paper_id: int) -> bytes | None:
    """Return the XML of the document that a paper is of, if there is any."""
    query = select(DocumentIssued.xml).where(DocumentIssued.paper_id == paper_id)
    return session.scalar(query)


def finish(database: Database) -> int:
    """Make every file that is not made yet, the oldest first; return how many.

    Raises:
        NoPdfError: the machine lacks what a PDF needs; the content stays kept.
    """
    with database.reading() as session:
        waiting = select(PaperMade.id).where(PaperMade.sha256 == "")
        keys = session.scalars(waiting.order_by(PaperMade.id)).all()
    for key in keys:
        file_of(database, key)
    return len(keys)


def belongs(session: Session, paper_id: int, customer_id: int) -> bool:
    """Tell whether a paper was issued for a customer, and for no single quote."""
    row = session.get(PaperMade, paper_id)
    return row is not None and row.customer_id == customer_id and row.quote_id is None


def papers_of(session: Session, quote_id: int) -> list[PaperMade]:
    """Return the papers issued for a quote, the oldest first, without their content."""
    return list(
        session.scalars(
            select(PaperMade)
            .where(PaperMade.quote_id == quote_id)
            .order_by(PaperMade.id)
        )
    )
