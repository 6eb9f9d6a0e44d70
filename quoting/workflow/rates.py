"""Rate tables in the shop's records: bring an edition in, and which one is in force.

An edition is kept as the very files it came in, so it can be given back as it was; it
is read once in a running program and never changes.
"""

import hashlib
import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import func, select
from sqlalchemy.orm import Session, undefer

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.rates import Part
from quoting.files.edition import read_edition
from quoting.store import audit
from quoting.store.models import PartPrice, RateEdition

#: What of a folder belongs to an edition.
_KEPT = ("*.csv", "*.toml", "tax/*.csv", "tax/*.toml")
_EPOCH = (1980, 1, 1, 0, 0, 0)


class NoEditionError(RuleError):
    """There are no rate tables for a day."""

    message = translatable(
        "No rate tables are in force on {on}: bring an edition in first "
        "(quoting rates import FOLDER)."
    )


@dataclass(frozen=True, slots=True)
class InForce:
    """An edition with the part prices of a day, and its key in the records."""

    id: int
    edition: Edition


#: Editions by the SHA-256 of their files: the same files always give the same one.
_READ: dict[str, Edition] = {}
_WITH_PARTS: dict[tuple[str, tuple[int, ...]], Edition] = {}


def bring_in(session: Session, folder: Path, *, at: datetime, who: str) -> int:
    """Check the edition in *folder* and keep it; return its key.

    The same files brought in again are the edition that is there already.

    Raises:
        ProblemsError: with every problem of every file; nothing is kept.
    """
    edition = read_edition(folder)
    files = _packed(folder)
    seal = hashlib.sha256(files).hexdigest()
    there = session.scalar(select(RateEdition.id).where(RateEdition.sha256 == seal))
    if there is not None:
        return there
    row = RateEdition(
        name=edition.shop.edition,
        valid_from=edition.shop.valid_from,
        files=files,
        sha256=seal,
        imported=at,
    )
    session.add(row)
    session.flush()
    _READ[seal] = edition
    audit.record(
        session,
        at=at,
        who=who,
        what="edition brought in",
        subject="edition",
        subject_id=row.id,
        new=f"{row.name}, in force from {row.valid_from.isoformat()}",
    )
    return row.id


def in_force(session: Session, on: date) -> InForce:
    """Return the edition of the latest first day that is not after *on*.

    Of several with the same first day the one brought in last counts. Part prices are
    those of *on*.

    Raises:
        NoEditionError: there is none.
    """
    row = session.execute(
        select(RateEdition.id, RateEdition.sha256)
        .where(RateEdition.valid_from <= on)
        .order_by(RateEdition.valid_from.desc(), RateEdition.id.desc())
        .limit(1)
    ).first()
    if row is None:
        raise NoEditionError(on=on.isoformat())
    return InForce(row.id, _with_part_prices(session, row.id, row.sha256, on))


def edition_of(session: Session, edition_id: int, on: date) -> Edition:
    """Return a kept edition by its key, with the part prices of *on*."""
    seal = session.execute(
        select(RateEdition.sha256).where(RateEdition.id == edition_id)
    ).scalar_one()
    return _with_part_prices(session, edition_id, seal, on)


def _with_part_prices(
    session: Session, edition_id: int, seal: str, on: date
) -> Edition:
    edition = _READ.get(seal) or _unpacked(session, edition_id, seal)
    latest = (
        select(PartPrice.part, func.max(PartPrice.valid_from).label("day"))
        .where(PartPrice.valid_from <= on)
        .group_by(PartPrice.part)
        .subquery()
    )
    rows = session.scalars(
        select(PartPrice)
        .join(
            latest,
            (PartPrice.part == latest.c.part) & (PartPrice.valid_from == latest.c.day),
        )
        .order_by(PartPrice.id)
    ).all()
    newer = [
        row
        for row in rows
        if row.part in edition.parts and row.valid_from >= edition.parts[row.part].as_of
    ]
    if not newer:
        return edition
    key = seal, tuple(row.id for row in newer)
    if key not in _WITH_PARTS:
        _WITH_PARTS.clear()
        _WITH_PARTS[key] = replace(edition, parts=_priced_anew(edition, newer))
    return _WITH_PARTS[key]


def _priced_anew(edition: Edition, rows: list[PartPrice]) -> Mapping[str, Part]:
    parts = dict(edition.parts)
    for row in rows:
        part = parts[row.part]
        amounts = [
            None if minor is None else edition.currency.from_minor(minor)
            for minor in (row.price, row.cost)
        ]
        parts[row.part] = replace(
            part,
            as_of=row.valid_from,
            price=amounts[0],
            cost=amounts[1] if amounts[1] is not None else part.cost,
            supplier=row.supplier or part.supplier,
        )
    return parts


def _packed(folder: Path) -> bytes:
    """Return the files of an edition as one archive, the same bytes every time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        paths = sorted(path for kept in _KEPT for path in folder.glob(kept))
        for path in paths:
            name = zipfile.ZipInfo(path.relative_to(folder).as_posix(), _EPOCH)
            archive.writestr(name, path.read_bytes(), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _unpacked(session: Session, edition_id: int, seal: str) -> Edition:
    row = session.scalars(
        select(RateEdition)
        .where(RateEdition.id == edition_id)
        .options(undefer(RateEdition.files))
    ).one()
    with TemporaryDirectory() as folder:
        with zipfile.ZipFile(io.BytesIO(row.files)) as archive:
            archive.extractall(folder)
        return _READ.setdefault(seal, read_edition(Path(folder)))
