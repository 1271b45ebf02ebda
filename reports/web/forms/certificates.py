"""What is asked before a certificate is issued, amended or withdrawn."""

from typing import Any

from django import forms

from reports.models import RuleSetVersion
from reports.queries.pages import newest_rule_sets


class IssueForm(forms.Form):
    """By which rules, and whether results are still to follow."""

    rule_set = forms.ModelChoiceField(queryset=RuleSetVersion.objects.none(), label="Reporting rules", empty_label=None)
    preliminary = forms.BooleanField(
        required=False, label="Preliminary: results are still to follow, and the final certificate replaces it"
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["rule_set"].queryset = newest_rule_sets()  # type: ignore[attr-defined]


class AmendForm(IssueForm):
    """The same, and why."""

    reason = forms.CharField(
        label="What was wrong, as the client will read it", widget=forms.Textarea(attrs={"rows": 2})
    )


class WithdrawForm(forms.Form):
    """Why."""

    reason = forms.CharField(
        label="Why it is withdrawn, as the client will read it", widget=forms.Textarea(attrs={"rows": 2})
    )
