"""Forms of the review: an answer, a question to the crew, an approval, a reason."""

from __future__ import annotations

from django import forms


class AnswerForm(forms.Form):
    text = forms.CharField(max_length=500, required=False, strip=True)
    waive = forms.BooleanField(required=False)


class AskForm(forms.Form):
    entry = forms.UUIDField()
    field = forms.CharField(max_length=40)
    text = forms.CharField(max_length=500, strip=True)


class ApproveForm(forms.Form):
    seen_version = forms.IntegerField(min_value=0)


class ReopenForm(forms.Form):
    reason = forms.CharField(
        max_length=300, label="Why it is opened again", help_text="It is printed on the next revision."
    )
