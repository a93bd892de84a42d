"""What is seen, said and signed: photos, notes, signatures, overrides, the hand-in of the sheet."""

from __future__ import annotations

from jobs.visits.kinds.base import Answer, Field, Kind, Of
from jobs.visits.kinds.fields import choice, photo, text, yes

SHOTS = (
    ("services", "Marks of services"),
    ("trench", "Trench with staff or tape"),
    ("pipe_laid", "Pipe as laid, with its tag"),
    ("joint", "Joint with its number"),
    ("gauge", "Gauge"),
    ("before_backfill", "Before backfill"),
    ("manifold", "Manifold with all tags"),
    ("penetration", "Wall penetration"),
    ("filter", "Filter"),
    ("drum_label", "Drum label"),
    ("plant_room", "Plant room"),
    ("label", "System label in place"),
    ("incident", "Incident"),
    ("other", "Other"),
)

PHOTO = Kind(
    code="photo",
    label="Photo",
    of=Of.JOB,
    repeats=True,
    fields=(choice("shot", "What it shows", *SHOTS), photo("other"), text("caption", "Caption", required=False)),
)

NOTE = Kind(code="note", label="Note", of=Of.JOB, repeats=True, fields=(text("note", "Note", shortest=1),))

SIGNATURE = Kind(
    code="signature",
    label="Signature",
    of=Of.JOB,
    repeats=True,
    fields=(
        choice(
            "role", "Signs as", ("crew_lead", "Crew lead"), ("engineer", "Heat pump engineer"), ("customer", "Customer")
        ),
        text("name", "Name", shortest=2),
        Field("strokes", "Signature", Answer.STROKES),
    ),
)

OVERRIDE = Kind(
    code="override",
    label="Go past a hold point",
    of=Of.HOLD_POINT,
    repeats=True,
    roles=("crew", "engineer", "manager"),
    fields=(text("reason", "Why", shortest=10, help="Ten characters or more. It stays red on the sheet."),),
    help="Only when waiting is worse. You answer for it with your name.",
)

SUBMIT = Kind(
    code="sheet_submit",
    label="Hand in the sheet",
    of=Of.JOB,
    repeats=True,
    fields=(
        yes("complete", "Everything that was done is logged"),
        text("remark", "Remark for the manager", required=False),
    ),
)
