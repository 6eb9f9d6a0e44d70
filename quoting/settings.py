"""Where the shop's records live and how the app is reached: read once, then passed on.

Everything comes from ``QUOTING_*`` variables of the environment; nothing else in
``quoting`` reads it.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Settings:
    """How one running program is set up.

    Attributes:
        database: URL of the shop's records: SQLite file or PostgreSQL.
        secret: key that signs sessions; empty: the one kept with the records.
        address: what others reach the app by, for the code on a tag; empty: as asked.
        secure: whether browsers send cookies over HTTPS only.
    """

    database: str
    secret: str = ""
    address: str = ""
    secure: bool = False


def from_environment(environment: Mapping[str, str] | None = None) -> Settings:
    """Return the settings that the environment names, or their defaults.

    >>> from_environment({"QUOTING_DATABASE": "sqlite:///shop.db"}).secure
    False
    """
    given = os.environ if environment is None else environment
    return Settings(
        database=given.get("QUOTING_DATABASE", f"sqlite:///{Path('quoting.db')}"),
        secret=given.get("QUOTING_SECRET", ""),
        address=given.get("QUOTING_ADDRESS", "").rstrip("/"),
        secure=given.get("QUOTING_SECURE", "") == "1",
    )
