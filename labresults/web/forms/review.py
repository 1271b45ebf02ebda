"""What a reviewer gives: a signature, a reason against some results, or another measurement that is to stand."""

from collections.abc import Collection
from typing import Any

from django import forms

from labresults.queries.review_pages import ReviewPage, asking_of, waiting_of
from labresults.terms import Decision

MEANINGS = ("Reviewed and approved", "Approved except those sent back or refused")


def _password() -> forms.CharField:
    """The password again: an empty one is refused by the act, which says so."""
    return forms.CharField(label="Your password, again", strip=False, required=False, max_length=4096)


class ApproveForm(forms.Form):
    """A signature under everything that waits, by one method or by all."""

    method = forms.ChoiceField(label="What", required=False)
    looked = forms.BooleanField(label="I have looked", required=False)
    seen = forms.CharField(label="What was shown", required=False)
    password = _password()
    meaning = forms.ChoiceField(label="Meaning", choices=[(words, words) for words in MEANINGS])
    reason = forms.CharField(label="Reason", required=False, strip=True)

    def __init__(self, *args: Any, page: ReviewPage, **options: Any) -> None:
        super().__init__(*args, **options)
        self.page = page
        choices = [("", "everything that waits"), *((code, code) for code in page.methods)]
        self.fields["method"].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        method, asking = cleaned.get("method", ""), asking_of(self.page, cleaned.get("method", ""))
        if cleaned.get("seen") != self.page.seen:
            self.add_error(None, "What waits has changed since this page was shown. Look again, then sign.")
        elif asking and not cleaned.get("looked"):
            what = "1 result asks" if len(asking) == 1 else f"{len(asking)} results ask"
            self.add_error(None, f"{what} for a look. Say that you have looked before you sign.")
        cleaned["results"] = waiting_of(self.page, method)
        return cleaned


class TurnDownForm(forms.Form):
    """Results refused or sent back, with the reason and a signature."""

    results = forms.TypedMultipleChoiceField(label="Results", coerce=int)
    decision = forms.ChoiceField(
        label="Decision", choices=[(word.value, word.value) for word in (Decision.REFUSE, Decision.SEND_BACK)]
    )
    reason = forms.CharField(label="Reason", required=False, strip=True)
    password = _password()

    def __init__(self, *args: Any, results: Collection[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["results"].choices = [(key, key) for key in results]  # type: ignore[attr-defined]


class SelectForm(forms.Form):
    """Another measurement that is to stand, and why."""

    result = forms.TypedChoiceField(label="Measurement", coerce=int)
    reason = forms.CharField(label="Reason", required=False, strip=True)

    def __init__(self, *args: Any, results: Collection[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["result"].choices = [(key, key) for key in results]  # type: ignore[attr-defined]
