"""Folders that come with the program: inside a wheel, beside it in a checkout."""

from pathlib import Path


def folder(name: str) -> Path:
    """Return the directory *name*: ``templates`` or ``rates_demo``.

    Raises:
        FileNotFoundError: it is neither inside the package nor beside it.
    """
    package = Path(__file__).parent
    for candidate in (package / name, package.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"{name!r} is neither inside nor beside {package}")
