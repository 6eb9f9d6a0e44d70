"""What is left out of a run that is not asked to time anything."""

import pytest

LARGE = ("test_batch_speed.py", "test_big_shop.py", "test_month_speed.py")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]):
    """Leave out big shops, months and batches, which take long, unless timed."""
    if config.getoption("benchmark_enable"):
        return
    big = [item for item in items if item.path.name in LARGE]
    if big:
        config.hook.pytest_deselected(items=big)
        items[:] = [item for item in items if item not in big]
