"""What the codes of the calculations mean for people, for the phone: the same words as at the desk."""

from __future__ import annotations

from typing import Any, Final

from calcs._tightness_words import SAYINGS as TIGHTNESS
from calcs.changeover import SAYINGS as CHANGEOVER
from calcs.verdict import Outcome
from jobs.visits import trade
from jobs.visits.trade import REASONS, SOURCES

PASS, FAIL, CANNOT = Outcome.PASS.value, Outcome.FAIL.value, Outcome.CANNOT_TELL.value
# Reason and way out; the phone puts its own figures in the place of the names in braces.
STRENGTH: Final = {
    "inside": ("Inside the band.", ""),
    "edge": (
        "Too near the edge of the band for this instrument.",
        "Correct the batch towards the target and read again.",
    ),
    "weak": ("Too weak.", "Add concentrate, stir and read again."),
    "strong": (
        "Stronger than needed: costs pumping power and concentrate.",
        "Add water, stir and read again.",
    ),
}
FROST: Final = {
    "inside": ("Safe down to what was asked, the doubt of the reading counted.", ""),
    "edge": (
        "Too near what was asked for this instrument.",
        "Take two more readings at 20 °C, or make the mix stronger.",
    ),
    "weak": ("Too weak: it freezes before that.", "Add concentrate, stir and read again."),
    "strong": ("Far stronger than needed: costs pumping power and concentrate.", ""),
}
PURGE: Final = {
    "slow": (
        "{speed} m/s in the slowest open loop; air is carried out from {velocity} m/s on.",
        "Open fewer loops at once and purge them in turn.",
    ),
    "short": ("{minutes} of {asked} min since the last bubble.", ""),
    "turnovers": ("The volume went round {times} of {turns} times.", ""),
    "enough": ("Fast enough and long enough.", ""),
}
AIR: Final = {
    "shut": (
        "Less fluid went in than the pipe itself must take: a valve is shut or the gauge is not on this circuit.",
        "",
    ),
    "good": ("Hardly any air is left.", ""),
    "unsure": (
        "Little air is left, but the pipe's own stretch is not known well enough to be sure.",
        "Purge on for 15 min and do it again, or measure at a lower pressure.",
    ),
    "air": ("About {litres} L of air is left: keep purging and do it again.", ""),
}
COOLING: Final = {
    "hold": ("Keep it clamped and still.", ""),
    "wait": ("It may be moved with care; no pressure and no bending yet.", ""),
    "cooled": ("It has cooled.", ""),
}
# What keeps an answer from being judged, or says all by itself.
NOTES: Final = {
    "calibration": (
        Outcome.WARN.value,
        "Its calibration ran out on {due}.",
        "Use another one if you can: the office sees the date.",
    ),
    "another loop was open": (
        FAIL,
        "Another loop was open: this one may not have been swept.",
        "Shut all others and fill it again from the start.",
    ),
    "the level rose": (FAIL, "The level rose.", "Correct the levels, or do it again."),
    "no rise": (CANNOT, "The pressure did not rise.", "Shut the return slowly with the pump running."),
    "another scale": (
        CANNOT,
        "This scale is made for another fluid: its degrees are wrong here.",
        "Read the Brix scale, or the scale of this product.",
    ),
    "outside the table": (
        CANNOT,
        "This reading is outside what the table of this product knows.",
        "Clean the prism, zero it and read again.",
    ),
    "another unit": (
        CANNOT,
        "The unit does not belong to the scale that was read.",
        "Enter the reading again in the unit of its scale.",
    ),
    "not zeroed": (CANNOT, "The refractometer was not zeroed.", "Zero it with clean water and read again."),
    "one reading": (
        CANNOT,
        "One reading of a batch is not enough.",
        "Read it again from another depth, or {gap} minutes later.",
    ),
    "no strength": (CANNOT, "A reading cannot be worked out.", ""),
    "two readings": (FAIL, "The two readings do not agree.", "Stir and read twice again."),
    "heat": (PASS, "Heat taken from the ground.", ""),
    "sensors": (CANNOT, "The fluid leaves warmer than it comes: check which sensor is which.", ""),
    "a wet joint": (FAIL, "A joint is not dry.", "Let the pressure down, mend it and test again."),
    "hold and shut": (CANNOT, "Readings of the hold and of the time after shutting are both needed.", ""),
    "before the start": (CANNOT, "The first reading must come after the start of the test.", ""),
    "no rest": (
        CANNOT,
        "The readings of the rest phase are missing.",
        "Shut the pipe, log the rest phase, let down, log the main phase.",
    ),
    "no bore": (
        CANNOT,
        "The wall is too thick for this diameter.",
        "Check both against the print on the pipe.",
    ),
    "no such strength": (
        CANNOT,
        "This is outside what the table of this fluid knows.",
        "Check the unit and the sign.",
    ),
    "out of reach": (CANNOT, "This cannot be reached.", "Use a stronger concentrate, or check both strengths."),
    "purge on": (
        CANNOT,
        "Fast enough. Run on to {minutes} min after the last bubble and {turnovers} turns of the volume.",
        "",
    ),
    "no clock": (
        CANNOT,
        "The times of this joint are not known here.",
        "Read them from the label of the fitting, the table of the machine or the maker's sheet.",
    ),
    "front": (CANNOT, "With half water and half new fluid at 10 °C.", ""),
    "slow front": (
        CANNOT,
        "With half water and half new fluid at 10 °C. So slow that the front falls apart: colour comes little by little.",
        "",
    ),
}
# Of an instrument, as soon as it is picked.
SUITS: Final = {
    PASS: "It suits",
    Outcome.WARN.value: "It may not do",
    FAIL: "It does not suit",
    CANNOT: "It cannot decide",
}
# What the screens say at length.
SAID: Final = {
    "sitting": "Say it once for all that you log from now on, until you stop it or the day is over. It can be changed in each entry.",
    "leaving": "Are you leaving the site?",
    "freeze": "Water, not mix, stands in pipe above the frost depth. Before you leave: drain it, insulate it, or see that no frost is forecast, and say which.",
    "conflict": "Two people corrected the same entry. Both stand here; talk to each other and take one of them back.",
    "told": "First aid first. The office sees it as soon as there is signal; ring whoever must know now.",
}
# After a break, by what the procedure's rule says then.
RESUMED: Final = {
    "inspect": "go on after an inspection",
    "restart": "start again",
    "check_gap": "go on, the clock never stopped",
    "restart_after": "start again",
    "restir": "stir, then go on",
    "extend_after": "go on, longer",
    "steady_again": "run it steadily, then go on",
}
# Why the person on site corrects an entry, in the order offered.
CORRECTED: Final = ("typo", "read_wrong", "again", "added")


# Why something is held: what the desk says of an entry, and what it says of one that could not become an entry.
HELD: Final = trade.HELD | {
    "unreadable": "it could not be read there",
    "no_job": "for a job the office does not have",
    "no_person": "the office does not know who wrote it",
    "conflict": "another entry has its number",
    "too_large": "it is too large to send",
}


def words_json() -> dict[str, Any]:
    """By calculation and code: reason and way out, before them the outcome where the code decides it."""
    return {
        "tightness": {code: [said.outcome.value, said.reason, said.way_out] for code, said in TIGHTNESS.items()},
        "changeover": {code: list(said) for code, said in CHANGEOVER.items()},
        "strength": STRENGTH,
        "frost": FROST,
        "purge": PURGE,
        "air": AIR,
        "cooling": COOLING,
        "notes": NOTES,
        "suits": SUITS,
        "said": SAID,
        "resumed": RESUMED,
        "sources": SOURCES,
        "held": HELD,
        "reasons": {code: REASONS[code] for code in CORRECTED},
    }
