"""Properties are about answers: how long an example takes on a busy machine is the business of tests/bench/."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("answers", deadline=None)
settings.load_profile("answers")
