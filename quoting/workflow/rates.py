"""Rate tables in the shop's records: bring an edition in, and which one is in force.

An edition is kept as the very files it came in, so it can be given back as it was; it
is read once in a running program and never changes. A draft is in force on no day.
"""

import hashlib
import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine, bindparam, func, select
from sqlalchemy.orm import Session, undefer

from quoting.domain.edition import Edition
from quoting.domain.errors import RuleError, translatable
from quoting.domain.rates import Shop
from quoting.files.edition import read_edition
from quoting.store import audit
from quoting.store.models import PartPrice, RateEdition, Trail

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


class _Signs(NamedTuple):
    """By what one sees that a price is made of the same as last time.

    Every part price that is brought in has a new key, and whoever changes one that is
    there notes it in the trail, so the last of both tell.
    """

    id: int
    sha256: str
    part_price: int | None
    trail: str | None
    on: date


class _NewPrice(NamedTuple):
    """What a part costs and sells for from a day on, in the smallest unit."""

    part: str
    valid_from: date
    price: int | None
    cost: int | None
    supplier: str


#: Editions by the SHA-256 of their files: the same files always give the same one.
_READ: dict[str, Edition] = {}
#: What the readers of a database saw last. A price on the phone follows every key, and
#: between two of them next to nothing changes.
_SEEN: WeakKeyDictionary[Engine | Connection, tuple[_Signs, InForce]] = (
    WeakKeyDictionary()
)

_LAST_PART_PRICE = select(func.max(PartPrice.id)).scalar_subquery()
_LAST_OF_TRAIL = select(Trail.seal).order_by(Trail.id.desc()).limit(1).scalar_subquery()
_IN_FORCE = (
    select(RateEdition.id, RateEdition.sha256, _LAST_PART_PRICE, _LAST_OF_TRAIL)
    .where(RateEdition.valid_from <= bindparam("on"), RateEdition.draft.is_(False))
    .order_by(RateEdition.valid_from.desc(), RateEdition.id.desc())
    .limit(1)
)


def bring_in(session: Session, folder: Path, *, at: datetime, who: str) -> int:
    """Check the edition in *folder* and keep it; return its key.

    The same files brought in again are the edition that is there already.

    Raises:
        ProblemsError: with every problem of every file; nothing is kept.
    """
    edition = read_edition(folder)
    paths = sorted(path for kept in _KEPT for path in folder.glob(kept))
    files = _packed(
        {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}
    )
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
    signs, bind = _signs(session, on), session.get_bind()
    writing = bind.get_execution_options().get("writing")
    if not writing and (seen := _SEEN.get(bind)) and seen[0] == signs:
        return seen[1]
    edition = _with_part_prices(session, signs.id, signs.sha256, on)
    found = InForce(signs.id, edition)
    if not writing:  # what is not yet written may never be
        _SEEN[bind] = signs, found
    return found


def shop_on(session: Session, on: date) -> Shop:
    """Return what shop.toml says on a day, as the edition that is in force has it.

    Raises:
        NoEditionError: there is none.
    """
    signs = _signs(session, on)
    edition = _READ.get(signs.sha256) or _unpacked(session, signs.id, signs.sha256)
    return edition.shop


def _signs(session: Session, on: date) -> _Signs:
    row = session.connection().execute(_IN_FORCE, {"on": on}).first()
    if row is None:
        raise NoEditionError(on=on.isoformat())
    return _Signs._make((*row, on))


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
    rows = session.execute(
        select(*(getattr(PartPrice, name) for name in _NewPrice._fields))
        .join(
            latest,
            (PartPrice.part == latest.c.part) & (PartPrice.valid_from == latest.c.day),
        )
        .order_by(PartPrice.id)
    )
    prices = tuple(
        price
        for price in map(_NewPrice._make, rows)
        if price.part in edition.parts
        and price.valid_from >= edition.parts[price.part].as_of
    )
    return _priced_anew(edition, prices) if prices else edition


@lru_cache(maxsize=16)
def _priced_anew(edition: Edition, prices: tuple[_NewPrice, ...]) -> Edition:
    """Return an edition with newer part prices, for the same prices the same one."""
    parts = dict(edition.parts)
    for new in prices:
        part = parts[new.part]
        price, cost = (
            None if minor is None else edition.currency.from_minor(minor)
            for minor in (new.price, new.cost)
        )
        parts[new.part] = replace(
            part,
            as_of=new.valid_from,
            price=price,
            cost=part.cost if cost is None else cost,
            supplier=new.supplier or part.supplier,
        )
    return replace(edition, parts=parts)


def files_of(row: RateEdition) -> dict[str, bytes]:
    """Return the files of an edition by name, as they came."""
    with zipfile.ZipFile(io.BytesIO(row.files)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def fill(row: RateEdition, files: Mapping[str, bytes]) -> None:
    """Check *files* as an edition and put them, with its name and day, into its row.

    Raises:
        ProblemsError: with every problem of every file; the row stays as it was.
    """
    packed = _packed(files)
    edition = _read(packed)
    row.name, row.valid_from = edition.shop.edition, edition.shop.valid_from
    row.files, row.sha256 = packed, hashlib.sha256(packed).hexdigest()
    _READ[row.sha256] = edition


def _packed(files: Mapping[str, bytes]) -> bytes:
    """Return the files of an edition as one archive, the same bytes every time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _EPOCH)
            archive.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _unpacked(session: Session, edition_id: int, seal: str) -> Edition:
    row = session.scalars(
        select(RateEdition)
        .where(RateEdition.id == edition_id)
        .options(undefer(RateEdition.files))
    ).one()
    return _READ.setdefault(seal, _read(row.files))


def _read(packed: bytes) -> Edition:
    with TemporaryDirectory() as folder:
        with zipfile.ZipFile(io.BytesIO(packed)) as archive:
            archive.extractall(folder)
        return read_edition(Path(folder))
