"""A request that is to be changed: of all samples, of single ones, who agreed to it and why."""

from collections.abc import Mapping
from typing import Any

from django import forms

from labresults.acts import BadInput
from labresults.models import LimitSet, Method, Sample
from labresults.models.base import choices
from labresults.queries.derived import choosable
from labresults.queries.request_change import Standing, samples_named
from labresults.queries.wanted import Terms, Wanted
from labresults.terms import Basis
from labresults.web.forms.reception import AS_ALL, DerivedResults, Methods

NO_LIMITS = "no limits"


class ChangeForm(forms.Form):
    """What is to be asked for from now on; as it stands where nothing is changed."""

    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    methods = Methods(
        Method.objects.order_by("code"),
        label="Methods, for every sample",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None: all that was asked for of all samples is cancelled.",
    )
    derived = DerivedResults(label="Computed from the results", required=False)
    basis = forms.ChoiceField(label="Reported on", choices=choices(Basis))
    limit_set = forms.ModelChoiceField(
        LimitSet.objects.order_by("name", "edition"),
        label="Limits to compare with",
        required=False,
        empty_label=NO_LIMITS,
    )
    due_on = forms.DateField(
        label="Due",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Empty: counted anew from the turnarounds, from today for methods that are new.",
    )
    keeps_own = forms.ChoiceField(
        label="What single samples ask for now", choices=[("keep", "stays"), ("drop", "becomes as all the others")]
    )
    numbers = forms.CharField(
        label="Samples that ask for something else from now on",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "spellcheck": "false", "autocomplete": "off", "data-scan": ""}),
        help_text="Laboratory numbers, typed or scanned, parted by spaces or lines.",
    )
    own_methods = Methods(
        Method.objects.order_by("code"),
        label="Their methods",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=f"None: {AS_ALL}.",
    )
    own_basis = forms.ChoiceField(label="Reported on", required=False, choices=[("", AS_ALL), *choices(Basis)])
    own_limits = forms.ChoiceField(label="Limits", required=False)
    agreed_with = forms.CharField(label="Who of the client agreed", max_length=200)
    reason = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, posted: Any, *, now: Standing, proposed: Mapping[str, str] | None = None) -> None:
        """proposed: `also` (a method's code), `samples` (numbers) and `because` (a run), to begin with."""
        asked = now.wanted
        initial = {
            "seen_version": now.request.version,
            "methods": [method.pk for method in asked.methods],
            "derived": [row.pk for row in asked.derived],
            "basis": asked.basis.value,
            "limit_set": asked.limit_set,
            "keeps_own": "keep",
        }
        super().__init__(posted, initial=initial | _proposed(now, proposed or {}))
        self.fields["derived"].queryset = choosable(asked.derived)  # type: ignore[attr-defined]
        self.now = now
        self.sets = {str(row): row for row in LimitSet.objects.order_by("name", "edition")}
        named = [(name, name) for name in (NO_LIMITS, *self.sets)]
        self.fields["own_limits"].choices = [("", AS_ALL), *named]  # type: ignore[attr-defined]
        self.single: list[Sample] = []

    def of_all(self) -> list[forms.BoundField]:
        """What holds for every sample."""
        return [self[name] for name in ("methods", "derived", "basis", "limit_set", "due_on")]

    def of_single(self) -> list[forms.BoundField]:
        """What holds for single samples."""
        return [self[name] for name in ("keeps_own", "numbers", "own_methods", "own_basis", "own_limits")]

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        try:
            self.single = samples_named(self.now, (given.get("numbers") or "").replace(",", " ").split())
        except BadInput as refusal:
            self.add_error("numbers", str(refusal))
        asks = any(given.get(name) for name in ("own_methods", "own_basis", "own_limits"))
        if asks and not given.get("numbers"):
            self.add_error("numbers", "Say which samples ask for it, or leave their methods, basis and limits as all.")
        return given

    def wanted(self) -> Wanted:
        """What is to be asked for."""
        given, before = self.cleaned_data, self.now.wanted
        keeps = given["keeps_own"] == "keep"
        of_samples, terms = (dict(before.of_samples), dict(before.terms)) if keeps else ({}, {})
        for sample in self.single:
            of_samples.pop(sample.pk, None)
            terms.pop(sample.pk, None)
            if given["own_methods"]:
                of_samples[sample.pk] = list(given["own_methods"])
            if given["own_basis"] or given["own_limits"]:
                terms[sample.pk] = self._terms()
        basis, due_on = Basis(given["basis"]), given["due_on"]
        return Wanted(
            list(given["methods"]), basis, given["limit_set"], due_on, of_samples, terms, list(given["derived"])
        )

    def _terms(self) -> Terms:
        given = self.cleaned_data
        limits = self.sets.get(given["own_limits"]) if given["own_limits"] else given["limit_set"]
        return Terms(Basis(given["own_basis"] or given["basis"]), limits)


def _proposed(now: Standing, proposed: Mapping[str, str]) -> dict[str, Any]:
    """What the form begins with where another page proposes a method for single samples; nothing else is changed."""
    if not proposed.get("also"):
        return {}
    usual = [method.code for method in now.wanted.methods]
    because = f" ({proposed['because']})" if proposed.get("because") else ""
    return {
        "numbers": proposed.get("samples", ""),
        "own_methods": list(Method.objects.filter(code__in=[*usual, proposed["also"]])),
        "agreed_with": now.submission.client.ore_grade_consent,
        "reason": f"above what {', '.join(usual)} can tell{because}: {proposed['also']} is asked for",
    }
