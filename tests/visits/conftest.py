from __future__ import annotations

import pytest

from jobs.planning.models import Job, JobState
from tests import build
from tests.people import Team, a_team


@pytest.fixture
def team(db: None) -> Team:
    team = a_team()
    build.instruments(team.firm)
    return team


@pytest.fixture
def job(team: Team) -> Job:
    """The main job, scheduled."""
    return build.a_job(team.firm, state=JobState.SCHEDULED)
