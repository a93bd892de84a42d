"""One filling of the bin: water and concentrate."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import CELSIUS, LITRES, MINUTES, number, pump, yes
from jobs.visits.kinds.said import at_least, look, ok


def _recipe_pct(facts: Facts) -> float | None:
    """Concentrate in what is poured, % of litres, by the job's recipe."""
    concentrate, water = facts.number("fill", "concentrate_l"), facts.number("fill", "water_l")
    return None if concentrate is None or water is None else 100 * concentrate / (concentrate + water)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    """Litres of this batch by the recipe: M1 is the first filling of the bin."""
    batches = (facts.numbers.get("fill") or {}).get("batches") or ()
    at = int(subject[1:]) - 1 if subject[1:].isdecimal() else 0
    if not 0 <= at < len(batches):
        return ()
    row = batches[at]
    return tuple(
        Target(name, "about", low=round(row[f"{name}_l"], 1), unit="L", source="the job's recipe")
        for name in ("water", "concentrate")
    )


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """Litres against the recipe: a hint only, the strength is what the refractometer says."""
    found = []
    water, concentrate = entry.number("water", "L"), entry.number("concentrate", "L")
    recipe, band = _recipe_pct(facts), facts.limit("strength_band_pct")
    if water is not None and concentrate and recipe is not None and band is not None:
        share = 100 * concentrate / (water + concentrate)
        figure = Figure("concentrate in the batch", share, "%", limit=recipe)
        if abs(share - recipe) <= band.value:
            found.append(ok("Mixed as the recipe says.", figure, source=band.source))
        else:
            words = "The litres are not those of the recipe."
            way_out = "Read the strength twice and correct the batch."
            found.append(look(words, Cause.STRENGTH, figure, source=band.source, way_out=way_out))
    stirred, limit = entry.number("stirred", "min"), facts.limit("stir_min")
    if stirred is not None and limit is not None:
        said = {"good": "Stirred long enough.", "short": "Not stirred long enough.", "way_out": "Stir on, then read."}
        figure = Figure("stirred", stirred, "min", limit=limit.value)
        found.append(at_least(figure, limit.source, cause=Cause.DURATION, **said))
    return tuple(found)


KIND = Kind(
    code="mix_batch",
    label="Mix a batch",
    of=Of.BATCH,
    fields=(
        yes("spill_ready", "Spill kit at hand, way to the drain known"),
        number("water", "Water", LITRES, soft=(5, 1000), hard=(0, 20000)),
        number("concentrate", "Concentrate", LITRES, soft=(5, 1000), hard=(0, 20000)),
        number("stirred", "Stirred for", MINUTES, soft=(10, 120), hard=(0, 1440)),
        number("temperature", "Water temperature", CELSIUS, soft=(3, 25), hard=(-5, 60), required=False),
        pump(),
    ),
    help="Water first, then concentrate, then stir. Read the strength twice, from two depths.",
    cautions=cautions.FLUID,
    flammable=True,
    calc="mix",
    judge=judge,
    targets=targets,
)
