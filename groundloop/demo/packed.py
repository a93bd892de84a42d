"""The story told from a phone's work pack instead of the database: the headless run sees only what a phone sees."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from groundloop.demo import story
from groundloop.demo.story import Log, Work


def work_of(pack: dict[str, Any], job_id: str, log: Log | None = None) -> Work:
    """The stages of the job in the pack, logged by the person the pack is for; `log` goes on from earlier stages."""
    job = next(each for each in pack["jobs"] if each["id"] == job_id)
    author = SimpleNamespace(pk=pack["person"]["id"])
    if log is None:
        tools = sorted(job["instruments"], key=lambda row: -(row["resolution"] or 1.0))
        log = Log(
            cast("Any", SimpleNamespace(pk=job["id"], number=job["number"])),
            cast("Any", author),
            instruments={row["kind"]: row["id"] for row in tools},
        )
    return Work(log, cast("Any", _plan(job)), job["numbers"], cast("Any", author))


def _plan(job: dict[str, Any]) -> SimpleNamespace:
    run = job["calc"]["runs"]["H"]
    wall = run["bore_mm"] / run["bore_to_wall"]
    header = SimpleNamespace(
        section=job["header"]["section"], od_mm=round(run["bore_mm"] + 2 * wall, 1), wall_mm=wall,
        length_each_way_m=run["length_m"] / 2,
    )  # fmt: skip
    return SimpleNamespace(
        loops=[SimpleNamespace(**loop) for loop in job["loops"]],
        sections=[SimpleNamespace(**section) for section in job["sections"]],
        boreholes=[SimpleNamespace(**hole) for hole in job["boreholes"]],
        header=header,
    )


def photos_named(log: Log) -> list[str]:
    """The names of the pictures that this log speaks of."""
    hashes = [found for entry in log.entries for found in story.photos_of(entry["payload"])]
    return story.known_photos(log.job, hashes)


def corrected(log: Log, entry: dict[str, Any], **answers: Any) -> dict[str, Any]:
    """A new entry that takes the place of `entry`, with these answers changed."""
    new = log.add(entry["kind"], entry["subject"], after=4, supersedes=entry["id"], reason="asked")
    new["payload"] = {**entry["payload"], **answers}
    new["instrument"], new["text"] = entry["instrument"], entry["text"]
    new["observed_at"] = entry["observed_at"]
    return new
