"""What each code of `_tightness` means for people: outcome, cause, whether to the method, the reason and the way out."""

from __future__ import annotations

from typing import NamedTuple

from calcs.sources import Source
from calcs.verdict import Cause, Figure, Outcome, Verdict


class Saying(NamedTuple):
    """One row of the table of codes."""

    outcome: Outcome
    cause: Cause
    reason: str
    way_out: str = ""
    to_method: bool = True


_PASS, _FAIL, _CANNOT = Outcome.PASS, Outcome.FAIL, Outcome.CANNOT_TELL

SAYINGS: dict[str, Saying] = {
    "tight": Saying(_PASS, Cause.NONE, "The pressure falls no more than a sound pipe's own creep."),
    "leak": Saying(_FAIL, Cause.LEAK, "The pressure falls more than creep explains: look at every joint."),
    "leak seen": Saying(_FAIL, Cause.LEAK, "A leak was seen."),
    "rest leak": Saying(
        _FAIL, Cause.LEAK, "The pressure fell too far in the rest phase: let it down and find the leak."
    ),
    "air": Saying(_FAIL, Cause.AIR, "Too much air in the pipe; it can hide a leak: purge again, then test again."),
    "air in doubt": Saying(
        _CANNOT,
        Cause.AIR,
        "The pressure falls a little less than it should in pipe without air; this is not clear enough to decide.",
        "Leave it shut and read again later, or purge and test again.",
    ),
    "rest low in doubt": Saying(
        _CANNOT,
        Cause.AIR,
        "The fall in the rest phase lies too near the lower limit for this gauge.",
        "Purge and test again, or use a finer gauge.",
    ),
    "slope in doubt": Saying(
        _CANNOT,
        Cause.RESOLUTION,
        "The fall lies too near the limit for this gauge and this time.",
        "Leave it shut and read again later; the difference grows. A finer gauge helps too.",
    ),
    "gauge too coarse": Saying(
        _CANNOT,
        Cause.RESOLUTION,
        "This gauge cannot show a fall as small as the limit.",
        "Use a gauge with finer steps, or leave the pipe shut for longer.",
    ),
    "rest in doubt": Saying(
        _CANNOT,
        Cause.RESOLUTION,
        "The fall in the rest phase lies too near the limit for this gauge.",
        "Test again after 60 min without pressure, with a finer gauge.",
    ),
    "main in doubt": Saying(
        _CANNOT,
        Cause.RESOLUTION,
        "The fall in the main phase lies too near the limit for this gauge.",
        "Test again with a finer gauge, or let the pressure down further before the main phase.",
    ),
    "volume in doubt": Saying(
        _CANNOT,
        Cause.RESOLUTION,
        "The volume let out lies too near the limit for the vessel and the gauge it was measured with.",
        "Test again, let the pressure down further, and weigh the water or use a measuring cylinder.",
    ),
    "gauge stuck": Saying(
        _CANNOT,
        Cause.READINGS,
        "The gauge never moved, though plastic pipe always creeps: it may be shut off or stuck.",
        "Open the gauge valve, tap the gauge, compare with a second gauge and read on.",
    ),
    "too short": Saying(
        _CANNOT,
        Cause.DURATION,
        "The pipe has not been shut for long enough.",
        "Leave it shut and take the next readings.",
    ),
    "extend": Saying(
        _CANNOT,
        Cause.DURATION,
        "The first 30 min of the main phase do not decide.",
        "Keep the pipe shut and read to 90 min after the let-down.",
    ),
    "readings missing": Saying(
        _CANNOT,
        Cause.READINGS,
        "Readings are missing: one at the moment of shutting, one near half time and one at the end are needed.",
        "Read on if the pipe is still shut, else test again.",
    ),
    "rest missing": Saying(
        _CANNOT,
        Cause.READINGS,
        "The reading at the end of the rest phase is missing.",
        "Read on if it still rests, else test again.",
    ),
    "main missing": Saying(
        _CANNOT,
        Cause.READINGS,
        "Readings of the main phase are missing.",
        "Read right after the let-down, every 10 min, and at 30 min.",
    ),
    "volume missing": Saying(
        _CANNOT,
        Cause.READINGS,
        "The volume let out is missing.",
        "Test again and measure the water that comes out.",
    ),
    "clock": Saying(
        _CANNOT,
        Cause.READINGS,
        "The times of the readings do not run forward.",
        "Correct the times.",
    ),
    "no pressure": Saying(
        _CANNOT,
        Cause.READINGS,
        "A reading is zero or below.",
        "Correct the reading, or find where the water went and test again.",
    ),
    "rising": Saying(
        _CANNOT,
        Cause.TEMPERATURE,
        "The pressure rose while the pipe was shut: it cooled, or somebody pumped.",
        "Shade or cover the pipe, wait until temperatures are even and test again.",
    ),
    "temperature": Saying(
        _CANNOT,
        Cause.TEMPERATURE,
        "The change of temperature alone may explain a third of the limit or more.",
        "Cover the pipe or wait for even temperature, then test again.",
    ),
    "restraint unknown": Saying(
        _CANNOT,
        Cause.RESTRAINT,
        "The answer depends on whether the pipe lies free, backfilled or grouted.",
        "Say how the pipe under test is held.",
    ),
    "hold too short": Saying(
        _CANNOT,
        Cause.CONDITIONS,
        "The pressure was not held by pumping for long enough before shutting.",
        "Pump back to the test pressure, hold it for 60 min and shut the pipe again.",
        to_method=False,
    ),
    "phases too short": Saying(
        _CANNOT,
        Cause.CONDITIONS,
        "Relaxing, raising or holding did not last as the method asks.",
        "Let the pressure down, wait 60 min and run the whole test again.",
        to_method=False,
    ),
    "let-down too small": Saying(
        _CANNOT,
        Cause.CONDITIONS,
        "The pressure was not let down far enough before the main phase.",
        "Test again and let it down further, in 2 min or less.",
        to_method=False,
    ),
    "pressure not reached": Saying(
        _CANNOT,
        Cause.CONDITIONS,
        "The rest phase did not start at the test pressure.",
        "Let the pressure down, wait 60 min and raise it to the test pressure.",
        to_method=False,
    ),
    "small volume": Saying(
        _CANNOT,
        Cause.AIR,
        "More water came out than allowed, but so little is allowed that this alone does not prove air.",
        "Check the residual air with the purge pump, or measure the bleed by weight and test again.",
    ),
    "wall too warm": Saying(
        _CANNOT,
        Cause.TEMPERATURE,
        "The pipe wall is warmer than the method allows.",
        "Wait for a cooler hour or cover the pipe, then test again.",
        to_method=False,
    ),
    "too long at pressure": Saying(
        _CANNOT,
        Cause.CONDITIONS,
        "The pipe has been at pressure for longer than the method allows.",
        "Let the pressure down for 8 h, then test again.",
        to_method=False,
    ),
    "not conditioned": Saying(
        _CANNOT,
        Cause.DURATION,
        "Plastic pipe that was not held at pressure for some hours falls by creep alone.",
        "Hold the pressure by pumping for 4 h and test again, or judge by the creep slope.",
    ),
}


def verdict_of(code: str, figures: tuple[Figure, ...], source: Source) -> Verdict:
    """The verdict of a code with its figures."""
    return spoken(SAYINGS[code], figures, source)


def spoken(saying: Saying, figures: tuple[Figure, ...], source: Source) -> Verdict:
    """The verdict of what is said, with its figures."""
    return Verdict(
        outcome=saying.outcome,
        reason=saying.reason,
        cause=saying.cause,
        to_method=saying.to_method,
        figures=figures,
        source=source,
        way_out=saying.way_out,
    )


def is_airy(air: Verdict | None) -> bool:
    """Whether the check of residual air has failed: air hides a leak, so it comes before every word on leakage."""
    return air is not None and air.outcome is Outcome.FAIL and air.cause is Cause.AIR
