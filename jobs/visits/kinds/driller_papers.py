"""What the driller hands over with a borehole, and whether it was taken as complete."""

from __future__ import annotations

from jobs.visits.kinds.base import Kind, Of
from jobs.visits.kinds.fields import yes

KIND = Kind(
    code="driller_papers",
    label="Driller's papers",
    of=Of.BOREHOLE,
    fields=(
        yes("log_seen", "Borehole log seen"),
        yes("grout_sheet_seen", "Grout sheet seen"),
        yes("test_before_seen", "Pressure test before grouting seen"),
        yes("test_after_seen", "Pressure test after grouting seen"),
        yes("utube_certificate_seen", "U-tube certificate seen"),
        yes("accepted", "Accepted as complete", help="Only when each paper names this borehole and this site."),
    ),
    help="Look at each paper. Holes look alike: check that hole number and site are this one's.",
)
