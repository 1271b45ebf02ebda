"""Coming in: name and password, then the six digits where a second factor is on."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils import timezone

from labresults.actions.attempts import TooMany, count_try, forget_tries
from labresults.web import attempts


class SignInForm(AuthenticationForm):
    """Name and password; after too many failures none is looked at for a while."""

    def clean(self) -> dict[str, Any]:
        name = self.cleaned_data.get("username")
        if not name or not self.cleaned_data.get("password"):
            return super().clean()  # nothing was tried
        limits = attempts.limits_of(self.request, name)
        try:
            count_try(limits, timezone.now())
        except TooMany as many:
            raise ValidationError(attempts.stopped(many), code="stopped") from many
        cleaned = super().clean()  # raises where they do not belong together: the try stays counted
        forget_tries(limits)
        return cleaned

    @property
    def stopped(self) -> str:
        """Why nothing may be tried now, in words; "" where something may."""
        errors = self.non_field_errors().as_data()
        return "".join(str(error.message) for error in errors if error.code == "stopped")


class CodeForm(forms.Form):
    """Six digits, or a recovery code in their place; spaces do not matter."""

    code = forms.CharField(label="Code", max_length=20, required=False)
    recovery = forms.CharField(label="Recovery code", max_length=40, required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not self.errors and not (given.get("code") or given.get("recovery")):
            raise ValidationError("Give the six digits that the device shows now, or a recovery code.")
        return given

    @property
    def given(self) -> str:
        """What was given."""
        return str(self.cleaned_data["code"] or self.cleaned_data["recovery"])


class TurnOnForm(forms.Form):
    """The first code that the device shows."""

    code = forms.CharField(label="Code", max_length=20)


def _password(label: str, kept_as: str = "current-password") -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": kept_as})
    return forms.CharField(label=label, strip=False, max_length=4096, widget=widget)


class PasswordForm(forms.Form):
    """The password again, before something of the account changes."""

    password = _password("Your password, again")


class TurnOffForm(PasswordForm):
    """Why the second factor is turned off, and the password again."""

    reason = forms.CharField(label="Why", max_length=400)
    field_order = ["reason", "password"]


class _Whom(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        of = f", of {obj.client}" if obj.client else ""
        return f"{obj} ({obj.username}{of})"


class GivePasswordForm(PasswordForm):
    """Who gets a new password, why, and whether their second factor is turned off too."""

    person = _Whom(queryset=None, label="For whom", empty_label="choose")
    reason = forms.CharField(
        label="Why, and how you know that it is they who ask", max_length=400,
        widget=forms.TextInput(attrs={"placeholder": "forgot it; came to the counter"}),
    )  # fmt: skip
    without_second_factor = forms.BooleanField(
        label="Turn their second factor off too", required=False,
        help_text="Only where the device and the recovery codes are lost as well. Else it stays on.",
    )  # fmt: skip
    field_order = ["person", "reason", "without_second_factor", "password"]

    def __init__(self, *args: Any, people: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["person"].queryset = people  # type: ignore[attr-defined]


class ChangePasswordForm(forms.Form):
    """The password that one has, and the new one twice."""

    password = _password("The password that you have")
    new_password = _password("The new one: at least 10 characters", "new-password")
    again = _password("The new one, again", "new-password")

    def clean_again(self) -> str:
        """Twice the same: nobody sees what is typed."""
        if self.cleaned_data["again"] != self.cleaned_data.get("new_password"):
            raise ValidationError("It is not the same as above. Type it once more.")
        return str(self.cleaned_data["again"])
