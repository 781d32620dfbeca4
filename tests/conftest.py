"""Options shared by all tests."""

from __future__ import annotations

import pytest
from hypothesis import settings

settings.register_profile("bellcrank", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("bellcrank")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the tests that take minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    skip = pytest.mark.skip(reason="takes minutes; run with --long")
    for item in items:
        if "long" in item.keywords:
            item.add_marker(skip)
