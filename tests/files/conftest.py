from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings

from jobs.firms.models import Firm
from jobs.firms.scope import scope
from tests.people import Team, a_team


@pytest.fixture
def team(db: None, settings: LazySettings, tmp_path: Path) -> Team:
    """A firm and its outsiders, with the files in a folder of the test."""
    settings.MEDIA_ROOT = tmp_path
    return a_team()


@pytest.fixture
def firm(team: Team) -> Iterator[Firm]:
    """A firm in scope."""
    with scope(team.firm.pk):
        yield team.firm
