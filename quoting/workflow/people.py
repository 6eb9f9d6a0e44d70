"""Who works here: accounts, roles, passwords, PINs, shared bench devices.

A password or PIN is kept only as an Argon2id hash, a device's token as a SHA-256. Every
guess is counted before it is checked (``knock``), in a transaction of its own, so that
a refusal does not take the count back and guesses side by side do not slip through.
"""

import hashlib
import re
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Any, NamedTuple
from zoneinfo import available_timezones

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Row, bindparam, delete, func, select, true
from sqlalchemy.orm import Session

from quoting.domain.errors import RuleError, translatable
from quoting.store import audit
from quoting.store.models import Device, Setup, SignInAttempt, User

OWNER, COUNTER, BENCH, ACCOUNTS = "owner", "counter", "bench", "accounts"
READER = "reader"
#: What each role is for, in the words of the people page.
ROLES = {
    OWNER: translatable("everything, and who works here"),
    COUNTER: translatable("telephone, customers, quotes, booking in, handing over"),
    BENCH: translatable("the work on the heads"),
    ACCOUNTS: translatable("invoices, payments, the month"),
    READER: translatable("reads the accounts and takes their files along"),
}
#: What everybody with an account holds besides the roles; a bench device does not.
ACCOUNT = "account"

SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 200
_PIN = re.compile(r"[0-9]{4,8}")

#: RFC 9106 section 4, second recommended option: Argon2id, t=3, m=64 MiB, p=4.
HASHER = PasswordHasher(time_cost=3, memory_cost=64 * 1024, parallelism=4)

#: Failures that are free, by what is counted: several people share one address.
FREE_FAILURES = {"name": 5, "pin": 5, "address": 20}
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)
#: How long a failure is held against whom it is counted for.
REMEMBERED = timedelta(hours=24)


class UnknownPersonError(RuleError):
    """The name, the password or both are wrong, or the account is closed."""

    message = translatable("That name and password do not belong together.")


class UnknownSignatureError(RuleError):
    """The initials, the PIN or both are wrong."""

    message = translatable("Those initials and that PIN do not belong together.")


class WaitError(RuleError):
    """Too many failures: the next guess is not looked at before the wait is over."""

    message = translatable(
        "Too many failed attempts. Wait {wait}, then try again; the owner can set a "
        "new password meanwhile."
    )


class NameMissingError(RuleError):
    """An account has no name to sign in with or to be called by."""

    message = translatable("Give a name, and what the person signs in with.")


class NameTakenError(RuleError):
    """Two accounts would sign in by the same name."""

    message = translatable("Somebody signs in as {name} already; choose another.")


class InitialsTakenError(RuleError):
    """Two people would sign work with the same initials."""

    message = translatable("{name} signs work as {initials} already; choose others.")


class PasswordTooShortError(RuleError):
    """A password is too easily guessed or too long to be hashed.

    Source:
        NIST SP 800-63B-4 section 3.1.1.2 asks for length before all else; ten is the
        shop's own floor.
    """

    message = translatable(
        "A password needs {shortest} to {longest} characters and is not the name; "
        "three or four words are easy to remember and hard to guess."
    )


class PasswordsDifferError(RuleError):
    """The password was typed differently the second time."""

    message = translatable("The two passwords are not the same; type both again.")


class PinError(RuleError):
    """A PIN has another shape."""

    message = translatable("A PIN is 4 to 8 digits, and needs initials to go with it.")


class NoRoleError(RuleError):
    """An account could do nothing."""

    message = translatable("Choose at least one role; without one there is no door.")


class LastOwnerError(RuleError):
    """Nobody would be left who may let people in."""

    message = translatable(
        "{name} is the only owner left. Make somebody else an owner first."
    )


class AlreadySetUpError(RuleError):
    """The first account exists already."""

    message = translatable("This shop is set up already; sign in instead.")


class UnknownZoneError(RuleError):
    """No such time zone."""

    message = translatable("Choose the time zone that the shop's calendar follows.")


class NamelessDeviceError(RuleError):
    """A bench device cannot be told from others."""

    message = translatable("Give the device a name, such as where it hangs.")


@dataclass(frozen=True, slots=True)
class Person:
    """Who is there: a person with an account, or a shared bench device.

    Attributes:
        user_id: key of the account; None for a device.
        roles: roles held, and ``ACCOUNT`` for somebody with an account.
        shortcuts: whether single keys do something.
    """

    user_id: int | None
    name: str
    roles: frozenset[str]
    initials: str = ""
    shortcuts: bool = True

    def may(self, roles: Iterable[str]) -> bool:
        """Tell whether one of *roles* opens this door; an owner opens every one.

        >>> Person(1, "Ada", frozenset({"owner"})).may(["bench"])
        True
        >>> Person(None, "Tablet", frozenset({"bench"})).may(["counter", "accounts"])
        False
        """
        return OWNER in self.roles or not self.roles.isdisjoint(roles)


# The shop.


def setup(session: Session) -> Setup:
    """Return what was settled for the shop; made with a new secret the first time.

    Args:
        session: of a transaction that writes.
    """
    row = session.get(Setup, 1)
    if row is None:
        row = Setup(id=1, secret=secrets.token_hex(32), zone="UTC")
        session.add(row)
        session.flush()
    return row


def is_set_up(session: Session) -> bool:
    """Tell whether anybody has an account."""
    return session.scalar(select(User.id).limit(1)) is not None


def zone(session: Session) -> str:
    """Return the shop's time zone."""
    return session.scalar(select(Setup.zone)) or "UTC"


def open_shop(
    session: Session, sign_in: str, name: str, password: str, zone: str, *, at: datetime
) -> User:
    """Make the first account, an owner's, and settle the shop's time zone.

    Raises:
        AlreadySetUpError: somebody has an account.
        UnknownZoneError: there is no such zone.
    """
    if is_set_up(session):
        raise AlreadySetUpError
    row = add(session, sign_in, name, [OWNER], password, at=at, who=name)
    set_zone(session, zone, at=at, who=name)
    return row


def set_zone(session: Session, zone: str, *, at: datetime, who: str) -> None:
    """Settle the time zone that the shop's calendar follows.

    Raises:
        UnknownZoneError: there is no such zone.
    """
    if zone not in available_timezones():
        raise UnknownZoneError
    row = setup(session)
    old, row.zone = row.zone, zone
    audit.record(
        session, at=at, who=who, what="time zone settled",
        subject="setup", subject_id=row.id, old=old, new=zone,
    )  # fmt: skip


# Accounts.


def person_of(row: User | Row[*tuple[Any, ...]]) -> Person:
    """Return the person behind an account."""
    return Person(
        user_id=row.id,
        name=row.name,
        roles=frozenset((*row.roles.split(), ACCOUNT)),
        initials=row.initials,
        shortcuts=row.shortcuts,
    )


def user(session: Session, user_id: int) -> User | None:
    """Return an account by its key."""
    return session.get(User, user_id)


class Account(NamedTuple):
    """What is asked of an account at every request, and the shop's time zone."""

    person: Person
    active: bool
    stamp: str
    zone: str


_ACCOUNT = (
    select(
        User.id, User.name, User.roles, User.initials, User.shortcuts,
        User.active, User.stamp, Setup.zone,
    )
    .outerjoin(Setup, true())
    .where(User.id == bindparam("user"))
)  # fmt: skip


def account(session: Session, user_id: int) -> Account | None:
    """Return an account by its key, with the shop's time zone."""
    row = session.connection().execute(_ACCOUNT, {"user": user_id}).first()
    if row is None:
        return None
    return Account(person_of(row), row.active, row.stamp, row.zone or "UTC")


def everybody(session: Session) -> list[User]:
    """Return all accounts: active ones first, then by name."""
    return list(session.scalars(select(User).order_by(User.active.desc(), User.name)))


def holders(session: Session, roles: Iterable[str]) -> list[str]:
    """Return the names of active people whom one of *roles* lets through."""
    wanted = {*roles, OWNER}
    return [
        row.name
        for row in everybody(session)
        if row.active and wanted.intersection(row.roles.split())
    ]


def add(
    session: Session,
    sign_in: str,
    name: str,
    roles: Iterable[str],
    password: str,
    *,
    at: datetime,
    who: str,
    initials: str = "",
) -> User:
    """Make an account.

    Raises:
        RuleError: a name is missing or taken, there is no role, or the password is
            too short.
    """
    row = User(
        sign_in=_sign_in(sign_in),
        name=name.strip(),
        initials="",
        roles=_roles(roles),
        stamp=secrets.token_hex(16),
        created=at,
    )
    if not row.sign_in or not row.name:
        raise NameMissingError
    if session.scalar(select(User.id).where(User.sign_in == row.sign_in)) is not None:
        raise NameTakenError(name=row.sign_in)
    row.initials = _free_initials(session, initials, None)
    row.password = _hashed(row.sign_in, password)
    session.add(row)
    session.flush()
    _note(session, row, "account opened", at, who, new=_told(row))
    return row


def change(
    session: Session,
    row: User,
    name: str,
    roles: Iterable[str],
    initials: str,
    *,
    at: datetime,
    who: str,
) -> None:
    """Change what a person is called, may do and signs with.

    Raises:
        RuleError: as for ``add``.
        LastOwnerError: nobody else is an owner.
    """
    before, wanted = _told(row), _roles(roles)
    if not name.strip():
        raise NameMissingError
    if OWNER not in wanted.split():
        _keep_an_owner(session, row)
    row.initials = _free_initials(session, initials, row.id)
    row.name, row.roles = name.strip(), wanted
    if not row.initials:
        row.pin = ""
    _note(session, row, "account changed", at, who, old=before, new=_told(row))


def set_password(
    session: Session, row: User, password: str, *, at: datetime, who: str
) -> None:
    """Set a new password; every session that is open under the old one ends.

    Raises:
        PasswordTooShortError: it is too short or too long.
    """
    row.password = _hashed(row.sign_in, password)
    row.stamp = secrets.token_hex(16)
    _forget(session, [_key("name", row.sign_in)])
    _note(session, row, "password set", at, who)


def set_pin(session: Session, row: User, pin: str, *, at: datetime, who: str) -> None:
    """Set the PIN that goes with a person's initials; an empty one takes it away.

    Raises:
        PinError: it is not 4 to 8 digits, or there are no initials.
    """
    if pin and not (_PIN.fullmatch(pin) and row.initials):
        raise PinError
    row.pin = HASHER.hash(pin) if pin else ""
    _forget(session, [_key("pin", row.initials)])
    _note(session, row, "PIN set" if pin else "PIN taken away", at, who)


def set_active(
    session: Session, row: User, *, active: bool, at: datetime, who: str
) -> None:
    """Close an account or open it again; closing ends its sessions.

    Raises:
        LastOwnerError: nobody else is an owner.
    """
    if not active:
        _keep_an_owner(session, row)
        row.stamp = secrets.token_hex(16)
    else:
        _free_initials(session, row.initials, row.id)
    row.active = active
    _note(session, row, "account opened again" if active else "account closed", at, who)


def _keep_an_owner(session: Session, row: User) -> None:
    others = [
        other
        for other in everybody(session)
        if other.active and other.id != row.id and OWNER in other.roles.split()
    ]
    if row.active and OWNER in row.roles.split() and not others:
        raise LastOwnerError(name=row.name)


def _free_initials(session: Session, initials: str, own: int | None) -> str:
    """Return initials as they are kept, if no other active person signs with them."""
    kept = _initials(initials)
    taken = select(User).where(User.initials == kept, User.active, User.id != own)
    if kept and (other := session.scalars(taken).first()):
        raise InitialsTakenError(name=other.name, initials=kept)
    return kept


def _sign_in(typed: str) -> str:
    return unicodedata.normalize("NFKC", typed).strip().casefold()


def _initials(typed: str) -> str:
    return "".join(unicodedata.normalize("NFKC", typed).split()).upper()


def _roles(chosen: Iterable[str]) -> str:
    wanted = set(chosen)
    if not wanted.intersection(ROLES):
        raise NoRoleError
    return " ".join(role for role in ROLES if role in wanted)


def _told(row: User) -> str:
    return f"{row.name}, signs in as {row.sign_in}; {row.roles}; {row.initials}"


def _note(
    session: Session,
    row: User,
    what: str,
    at: datetime,
    who: str,
    *,
    old: str = "",
    new: str = "",
) -> None:
    session.flush()
    audit.record(
        session,
        at=at,
        who=who,
        what=what,
        subject="user",
        subject_id=row.id,
        old=old,
        new=new,
    )


# Recognising somebody.


def knock(session: Session, guessed: dict[str, str], *, at: datetime) -> None:
    """Count a guess before it is looked at; it is a failure until ``welcome``.

    Args:
        session: of a transaction that commits even if the guess turns out wrong.
        guessed: what is counted, by a key of ``FREE_FAILURES``: the name, the address.
        at: the instant of the guess.

    Raises:
        WaitError: too many failures; this guess is not counted and not looked at.
    """
    keys = {kind: _key(kind, value) for kind, value in guessed.items()}
    waits = [_wait(session, key, FREE_FAILURES[kind], at) for kind, key in keys.items()]
    if (longest := max(waits)) > timedelta():
        raise WaitError(wait=_spoken(longest))
    session.execute(delete(SignInAttempt).where(SignInAttempt.at < at - REMEMBERED))
    session.add_all(SignInAttempt(who=key, at=at) for key in keys.values())
    session.flush()


def recognise(session: Session, sign_in: str, password: str) -> User:
    """Return whose name and password these are.

    An unknown name costs as much work as a wrong password.

    Raises:
        UnknownPersonError: nobody's; it is not said which of the two is wrong.
    """
    found = select(User).where(User.sign_in == _sign_in(sign_in), User.active)
    row = session.scalars(found).first()
    if not _fits(row.password if row else "", _normal(password)) or row is None:
        raise UnknownPersonError
    return row


def recognise_signature(session: Session, initials: str, pin: str) -> User:
    """Return whose initials and PIN these are.

    Raises:
        UnknownSignatureError: nobody's.
    """
    kept = _initials(initials)
    found = select(User).where(User.initials == kept, User.initials != "", User.active)
    row = session.scalars(found).first()
    if not _fits(row.pin if row else "", pin.strip()) or row is None:
        raise UnknownSignatureError
    return row


def welcome(session: Session, guessed: dict[str, str]) -> None:
    """Take back what ``knock`` counted, because the guess was right.

    What else was counted against the address stays: a right guess does not excuse
    wrong ones about others.
    """
    _forget(
        session,
        [_key(kind, value) for kind, value in guessed.items() if kind != "address"],
    )
    if "address" in guessed:
        latest = (
            select(SignInAttempt)
            .where(SignInAttempt.who == _key("address", guessed["address"]))
            .order_by(SignInAttempt.id.desc())
            .limit(1)
        )
        for attempt in session.scalars(latest):
            session.delete(attempt)


def renew(session: Session, user_id: int, password: str) -> None:
    """Hash a password that was just recognised anew if the hash is of an old kind."""
    row = session.get_one(User, user_id)
    if HASHER.check_needs_rehash(row.password):
        row.password = HASHER.hash(_normal(password))


def _hashed(sign_in: str, password: str) -> str:
    normal = _normal(password)
    fits = SHORTEST_PASSWORD <= len(normal) <= LONGEST_PASSWORD
    if not fits or _sign_in(password) == sign_in:
        raise PasswordTooShortError(
            shortest=SHORTEST_PASSWORD, longest=LONGEST_PASSWORD
        )
    return HASHER.hash(normal)


def _normal(password: str) -> str:
    """Return what is hashed, the same from every keyboard (NIST SP 800-63B: NFKC)."""
    return unicodedata.normalize("NFKC", password)


def _fits(kept: str, typed: str) -> bool:
    try:
        fits = HASHER.verify(kept or _nobodys(), typed[:LONGEST_PASSWORD])
    except (VerificationError, InvalidHashError):
        return False
    return bool(kept) and fits


@cache
def _nobodys() -> str:
    """Return a hash that costs the usual work and that nothing typed fits."""
    return HASHER.hash(secrets.token_hex(32))


def _key(kind: str, value: str) -> str:
    """Return what attempts are counted under; of any length, and telling nothing."""
    said = _initials(value) if kind == "pin" else _sign_in(value)
    return f"{kind}:{hashlib.sha256(said.encode()).hexdigest()}"


def _wait(session: Session, key: str, free: int, at: datetime) -> timedelta:
    """Return how long a guess under *key* still has to wait."""
    failures, last = session.execute(
        select(func.count(), func.max(SignInAttempt.at)).where(
            SignInAttempt.who == key, SignInAttempt.at > at - REMEMBERED
        )
    ).one()
    if failures < free:
        return timedelta()
    doubled: timedelta = FIRST_WAIT * 2 ** min(failures - free, 10)
    return max(last + min(doubled, LONGEST_WAIT) - at, timedelta())


def _spoken(wait: timedelta) -> str:
    seconds = -(-wait // timedelta(seconds=1))
    if seconds <= 90:
        return f"{seconds} seconds"
    return f"{-(-seconds // 60)} minutes"


def _forget(session: Session, keys: list[str]) -> None:
    session.execute(delete(SignInAttempt).where(SignInAttempt.who.in_(keys)))


# Shared bench devices.


def devices(session: Session) -> list[Device]:
    """Return the bench devices that stay signed in, by name."""
    return list(
        session.scalars(select(Device).where(Device.active).order_by(Device.name))
    )


def register_device(session: Session, name: str, *, at: datetime, who: str) -> str:
    """Register a bench device; return its token, which is kept nowhere else.

    Raises:
        NamelessDeviceError: it has no name.
    """
    if not name.strip():
        raise NamelessDeviceError
    token = secrets.token_urlsafe(32)
    row = Device(name=name.strip(), token=_sealed(token), created=at)
    session.add(row)
    session.flush()
    audit.record(
        session, at=at, who=who, what="bench device registered",
        subject="device", subject_id=row.id, new=row.name,
    )  # fmt: skip
    return token


def end_device(session: Session, device_id: int, *, at: datetime, who: str) -> None:
    """Sign a bench device out for good."""
    row = session.get(Device, device_id)
    if row is None or not row.active:
        return
    row.active = False
    audit.record(
        session, at=at, who=who, what="bench device ended",
        subject="device", subject_id=row.id, old=row.name,
    )  # fmt: skip


def device(session: Session, token: str) -> Person | None:
    """Return the bench device that has this token, or None."""
    found = select(Device).where(Device.token == _sealed(token), Device.active)
    row = session.scalars(found).first()
    return Person(None, row.name, frozenset({BENCH})) if row else None


def _sealed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
