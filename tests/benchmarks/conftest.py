"""What is left out of a run that is not asked to time anything."""

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]):
    """Leave out the big shop, which takes a minute to write, unless it is timed."""
    if config.getoption("benchmark_enable"):
        return
    big = [item for item in items if item.path.name == "test_big_shop.py"]
    if big:
        config.hook.pytest_deselected(items=big)
        items[:] = [item for item in items if item not in big]
