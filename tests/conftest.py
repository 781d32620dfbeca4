"""Options shared by all tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

settings.register_profile("bellcrank", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("bellcrank")


@pytest.fixture(autouse=True, scope="session")
def _state_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What the command remembers for its user stays out of the home of whoever runs the tests.

    The owner of the ports is one of the tests' own, too, and ends with them.
    """
    from firmware_gen.link.owner import client, meeting

    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        patched.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("run")))
        yield
        met = meeting.meet(meeting.meeting_place(), "owner")
        if met:
            with client.OwnerConnection(met, "tests") as owner:
                owner.introduce()
                owner.ask_to_end()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the tests that take minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    skip = pytest.mark.skip(reason="takes minutes; run with --long")
    for item in items:
        if "long" in item.keywords:
            item.add_marker(skip)
