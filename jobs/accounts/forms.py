from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password

from jobs.firms.models import Role, User


class RolesField(forms.MultipleChoiceField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            choices=Role.choices,
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": "Tick at least one role."},
            **kwargs,
        )


class InviteForm(forms.Form):
    name = forms.CharField(max_length=120)
    email = forms.EmailField(label="Mail address", max_length=254)
    roles = RolesField()


class RolesForm(forms.Form):
    roles = RolesField()


class AcceptForm(forms.Form):
    """Name and password of somebody who has no account yet."""

    name = forms.CharField(label="Your name", max_length=120)
    password = forms.CharField(
        help_text="At least 12 characters; several words are easiest to remember.",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, email: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.email = email

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "password" in data:
            try:
                validate_password(data["password"], User(email=self.email, name=data.get("name", "")))
            except forms.ValidationError as error:
                self.add_error("password", error)
        return data
