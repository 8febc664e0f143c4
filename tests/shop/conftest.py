"""A second shop beside the one of all tests."""

import pytest

from proofpatch.shop.store import Store


@pytest.fixture
def other(tmp_path):
    """Empty."""
    found = Store.open(tmp_path / "other")
    yield found
    found.close()
