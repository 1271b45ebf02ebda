"""Coming in: name and password, then the six digits where a second factor is on."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils import timezone

from labresults.web import attempts


class SignInForm(AuthenticationForm):
    """Name and password; after ten failures of a name none is looked at for 15 minutes."""

    def clean(self) -> dict[str, Any]:
        name, now = self.cleaned_data.get("username") or "", timezone.now()
        if attempts.is_stopped(name, now):
            raise ValidationError(attempts.TOO_MANY, code="stopped")
        try:
            return super().clean()
        except ValidationError:
            attempts.failed(name, now)
            raise


class CodeForm(forms.Form):
    """Six digits; spaces do not matter."""

    code = forms.CharField(label="Code", max_length=20)


class TurnOnForm(CodeForm):
    """The first code that the device shows."""


class TurnOffForm(forms.Form):
    """Why the second factor is turned off, and the password again."""

    reason = forms.CharField(label="Why", max_length=400)
    password = forms.CharField(
        label="Your password, again", strip=False, max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )  # fmt: skip
