"""A rule set as it is typed, and for what it is chosen."""

from typing import Any

from django.forms import (
    BooleanField,
    CharField,
    ChoiceField,
    FloatField,
    Form,
    IntegerField,
    ModelChoiceField,
    Textarea,
    ValidationError,
)

from labresults.queries.lists import clients, methods
from labresults.queries.samples import submission_if_there
from reports.queries.pages import newest_rule_sets
from reports.queries.rule_drafts import CHOICES, MOST_FIGURES

_FEW = {"rows": 2, "spellcheck": "false"}


class RuleSetForm(Form):
    """Every setting of a rule set; small tables are typed a row a line, with colons."""

    figures = IntegerField(label="Significant figures", min_value=1, max_value=MOST_FIGURES)
    figures_by_size = CharField(
        label="Other figures by size", required=False, widget=Textarea(attrs=_FEW),
        help_text="From which number on: how many. For example 10: 3",
    )  # fmt: skip
    limit_figures = IntegerField(label="Figures of a printed limit, at most", min_value=1, max_value=MOST_FIGURES)
    no_finer_than_detection_limit = BooleanField(label="No more decimals than the limit has", required=False)
    finest_decimals = CharField(
        label="Finest place of a unit", required=False, widget=Textarea(attrs=_FEW),
        help_text="Unit: decimals. For example %: 2",
    )  # fmt: skip
    tie = ChoiceField(label="An exact half", choices=CHOICES["tie"])
    below = ChoiceField(label="A number must reach", choices=CHOICES["below"])
    not_found_by_detection_limit = BooleanField(
        label="What was not found is given by its detection limit", required=False
    )
    words_not_detected = CharField(label="Words below the detection limit", required=False, max_length=30)
    words_between = CharField(label="Words between the two limits", required=False, max_length=30)
    words_above = CharField(label="Words above the range", required=False, max_length=30)
    switches = CharField(
        label="Other units", required=False, widget=Textarea(attrs=_FEW),
        help_text="Unit: from: other unit: divided by. For example g/t: 10000: %: 10000",
    )  # fmt: skip
    forms = CharField(
        label="Oxide or element", required=False, widget=Textarea(attrs=_FEW),
        help_text="Element: as what. For example Al: Al2O3, or P: P",
    )  # fmt: skip
    basis = ChoiceField(label="Basis", required=False, choices=CHOICES["basis"])
    uncertainty = ChoiceField(label="Figures of an uncertainty", choices=CHOICES["uncertainty"])
    uncertainty_shown = BooleanField(label="Uncertainties are printed", required=False)
    uncertainty_decides = BooleanField(label="Values end where their uncertainty ends", required=False)
    qualifiers = ChoiceField(label="Qualifiers", required=False, choices=CHOICES["qualifiers"])
    decision_rule = ChoiceField(
        label="Decision rule", choices=CHOICES["decision_rule"], help_text="Where the limits do not name their own."
    )
    risk_percent = FloatField(label="Accepted risk, %", required=False, min_value=0.0, max_value=50.0)
    reason = CharField(label="Why it is changed", required=False)


class ChoiceForm(Form):
    """Which rule set stands for one thing, or for everything."""

    name = ChoiceField(label="Rule set", required=False)
    submission = CharField(label="For a submission", required=False, help_text="Its number, for example S26-0041.")
    client = ModelChoiceField(clients().order_by("name"), label="For a client", required=False)
    method = ModelChoiceField(methods().order_by("code"), label="For a method", required=False)
    reason = CharField(label="Why", required=False)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        names = [(row.name, row.name) for row in newest_rule_sets()]
        self.fields["name"].choices = [*names, ("", "none: as without this choice")]  # type: ignore[attr-defined]

    def clean_submission(self) -> object:
        """The submission by its number."""
        number = self.cleaned_data["submission"].strip()
        if not number:
            return None
        found = submission_if_there(number)
        if found is None:
            raise ValidationError(f"There is no submission {number}.")
        return found
