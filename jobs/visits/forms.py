from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django import forms

from jobs.firms.models import Member, Role
from jobs.firms.queries import members_of
from jobs.visits.models import Run, Visit, VisitKind
from jobs.visits.queries import crew_of
from jobs.visits.trade import LEAST_REASON


class VisitForm(forms.Form):
    """Plan or change a visit."""

    kind = forms.TypedChoiceField(label="What for", choices=VisitKind.choices, coerce=VisitKind)
    planned_date = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    crew = forms.MultipleChoiceField(label="Who goes", widget=forms.CheckboxSelectMultiple, required=False)
    note = forms.CharField(label="Note for the crew", max_length=300, required=False)

    def __init__(self, *args: Any, member: Member, visit: Visit | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._people = {str(one.pk): one for one in members_of(member.firm_id, Role.CREW, Role.ENGINEER)}
        booked = crew_of(visit) if visit else []
        self._people |= {str(one.pk): one for one in booked}
        crew: Any = self.fields["crew"]
        crew.choices = [(pk, f"{one.user.name} ({one.role_labels})") for pk, one in self._people.items()]
        if visit:
            self.initial = {
                "kind": visit.kind,
                "planned_date": visit.planned_date,
                "note": visit.note,
                "crew": [str(one.pk) for one in booked],
            } | dict(self.initial)

    def clean_crew(self) -> list[Member]:
        return [self._people[pk] for pk in self.cleaned_data["crew"]]


class DecisionForm(forms.Form):
    """The office's word on a held entry."""

    reason = forms.CharField(
        label="Why", min_length=LEAST_REASON, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )


class ExtendForm(forms.Form):
    """A later end of the de-aeration run."""

    day = forms.DateField(label="Run until", widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(
        label="Why", min_length=LEAST_REASON, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._run = run

    def clean_day(self) -> datetime:
        """The same time of day as the present end."""
        day = self.cleaned_data["day"]
        later: datetime = self._run.ends_at + timedelta(days=(day - self._run.ends_at.date()).days)
        return later
