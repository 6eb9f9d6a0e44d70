"""Use cases run on both databases."""

import pytest
from shop import Shop


@pytest.fixture
def shop(database):
    """Return a shop with its rate tables and no customers yet."""
    return Shop(database)
