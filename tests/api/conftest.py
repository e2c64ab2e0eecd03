"""Fixtures of the API's tests."""

from __future__ import annotations

import pytest

from tests.api.worlds import World, make_world
from tests.conftest import Actors


@pytest.fixture
def world(actors: Actors) -> World:
    """A system and a visit of the owner's crew to it."""
    return make_world(actors.crew)
