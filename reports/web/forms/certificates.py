"""What is asked before a certificate is issued, amended or withdrawn."""

import secrets
from collections.abc import Iterable
from typing import Any

from django import forms

from reports.changes import Place
from reports.models import RuleSetVersion
from reports.queries.pages import newest_rule_sets

OWN_REASON = "why "
"""How the name of a field begins that holds the reason of one change: then its sample, a bar, and its column."""


def _form_key() -> str:
    return secrets.token_urlsafe(18)


class IssueForm(forms.Form):
    """By which rules, whether results are still to follow, and with which other submissions of the client.

    others: number and words of each submission that can stand on the same certificate.
    """

    rule_set = forms.ModelChoiceField(queryset=RuleSetVersion.objects.none(), label="Reporting rules", empty_label=None)
    preliminary = forms.BooleanField(
        required=False, label="Preliminary: results are still to follow, and the final certificate replaces it"
    )
    further = forms.MultipleChoiceField(
        required=False, label="On the same certificate", widget=forms.CheckboxSelectMultiple
    )
    form_key = forms.CharField(required=False, max_length=40, initial=_form_key, widget=forms.HiddenInput)

    def __init__(self, *args: Any, others: Iterable[tuple[str, str]] = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["rule_set"].queryset = newest_rule_sets()  # type: ignore[attr-defined]
        self.fields["further"].choices = list(others)  # type: ignore[attr-defined]


class AmendForm(forms.Form):
    """By which rules, and why: once for all, and for each change that has a reason of its own."""

    rule_set = forms.ModelChoiceField(queryset=RuleSetVersion.objects.none(), label="Reporting rules", empty_label=None)
    preliminary = forms.BooleanField(required=False, label="Preliminary: results are still to follow")
    reason = forms.CharField(
        label="What was wrong, as the client will read it", widget=forms.Textarea(attrs={"rows": 2})
    )
    form_key = forms.CharField(required=False, max_length=40, initial=_form_key, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["rule_set"].queryset = newest_rule_sets()  # type: ignore[attr-defined]

    def reasons(self) -> dict[Place, str]:
        """Reasons that were typed for single changes, by sample and column; without a sample, for a whole column."""
        found = {}
        for name, typed in self.data.items():
            if name.startswith(OWN_REASON) and typed.strip():
                sample, _, column = name.removeprefix(OWN_REASON).partition("|")
                found[sample, column] = typed.strip()[:500]
        return found


class RulesForm(forms.Form):
    """Which rules a preview of an amendment is made by; what is not given is as in the issue before."""

    rule_set = forms.ModelChoiceField(queryset=RuleSetVersion.objects.all())
    preliminary = forms.BooleanField(required=False)


class WithdrawForm(forms.Form):
    """Why."""

    reason = forms.CharField(
        label="Why it is withdrawn, as the client will read it", widget=forms.Textarea(attrs={"rows": 2})
    )


class AmendManyForm(forms.Form):
    """Issues that are amended with one reason, as "C26-0297/1", one each."""

    reason = forms.CharField(
        label="What was wrong, as every one of these clients will read it", widget=forms.Textarea(attrs={"rows": 2})
    )
