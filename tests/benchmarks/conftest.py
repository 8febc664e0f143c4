"""What the simulator's tests share."""

import pytest
import simulator_tile as tiles


@pytest.fixture
def small_tiles(monkeypatch):
    monkeypatch.setattr(tiles, "SPOTS", (3.2e-3, 3.2e-3, 16.0))
