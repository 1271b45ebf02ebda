"""What is doubtful, the case that is opened of it, and what is done about one."""

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from labresults.queries.forward import Doubt
from labresults.terms import DoubtKind, NonconformingAct
from labresults.web.filters.fields import day_field

_ENTERED = (NonconformingAct.JUDGE, NonconformingAct.CORRECT, NonconformingAct.AMEND, NonconformingAct.WITHDRAW)


class DoubtForm(forms.Form):
    """One thing, a period and an element."""

    kind = forms.ChoiceField(label="What is doubtful", choices=[(kind.value, kind.value) for kind in DoubtKind])
    name = forms.CharField(
        label="Which one", required=False, max_length=60,
        help_text="Its number or code; a person’s sign-in; a method as AR-7, or one version as AR-7 v2.",
    )  # fmt: skip
    element = forms.CharField(label="Only results of", required=False, max_length=2, help_text="A symbol; empty: all.")
    since = forms.DateField(label="From", required=False, widget=day_field())
    until = forms.DateField(label="Until", required=False, widget=day_field(), help_text="Both days are included.")

    def clean(self) -> dict[str, Any]:
        """Refuse a thing without a name, and a period that ends before it begins."""
        given = super().clean() or {}
        if given.get("kind") not in (None, DoubtKind.PERIOD) and not given.get("name"):
            self.add_error("name", "Say which one.")
        if given.get("since") and given.get("until") and given["until"] < given["since"]:
            self.add_error("until", "It ends before it begins.")
        return given

    def doubt(self) -> Doubt:
        """What is asked, its days as moments in the site's zone."""
        given = self.cleaned_data
        kind = DoubtKind(given["kind"])
        return Doubt(
            kind,
            "" if kind == DoubtKind.PERIOD else given["name"].strip(),
            _midnight(given["since"]),
            _last_moment(given["until"]),
            given["element"].strip(),
        )


class OpenForm(DoubtForm):
    """A case: the thing as it was looked at, and what is said of it."""

    what = forms.CharField(
        label="What was wrong", widget=forms.Textarea(attrs={"rows": 3}), help_text="And how it was found."
    )
    effect = forms.CharField(
        label="What it may have done to results", widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Which way, and how much against the uncertainty.",
    )  # fmt: skip
    hold = forms.BooleanField(
        label="Hold what it touched: nothing of it is approved or certified", required=False, initial=True
    )
    seen = forms.IntegerField(widget=forms.HiddenInput)


class StepForm(forms.Form):
    """What was done or decided, in words."""

    step = forms.ChoiceField(label="What was done", choices=[(act.value, act.value) for act in _ENTERED])
    text = forms.CharField(label="In words", widget=forms.Textarea(attrs={"rows": 3}))


class ClosingForm(forms.Form):
    """A hold, a release or the end of a case, with its reason."""

    step = forms.ChoiceField(
        choices=[(act, act) for act in (NonconformingAct.HOLD, NonconformingAct.RELEASE, NonconformingAct.CLOSE)]
    )
    text = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 2}))


def form_of_step(data: QueryDict) -> forms.Form:
    """The form that a step was sent with."""
    kinds = {act.value for act in _ENTERED}
    return StepForm(data) if data.get("step") in kinds else ClosingForm(data)


def days_of(doubt: Doubt) -> dict[str, Any]:
    """A doubt as the fields of its form: for links and hidden fields; nothing for what is not said."""
    said = {
        "kind": doubt.kind.value,
        "name": doubt.name,
        "element": doubt.element,
        "since": _day(doubt.since),
        "until": _day(doubt.until),
    }
    return {name: value for name, value in said.items() if value}


def _day(moment: datetime | None) -> str:
    return timezone.localtime(moment).date().isoformat() if moment else ""


def _midnight(day: date | None) -> datetime | None:
    return timezone.make_aware(datetime.combine(day, time.min)) if day else None


def _last_moment(day: date | None) -> datetime | None:
    begins = _midnight(day + timedelta(days=1)) if day else None
    return begins - timedelta(microseconds=1) if begins else None
