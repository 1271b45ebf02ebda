"""Derived results: how they come from measured ones, as data, and the sets of samples that a mean is taken over.

A derived result itself is no row: it is computed from the results that stand whenever it is shown, so that it cannot be
out of date, and frozen with its inputs when a certificate prints it.
"""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, above_zero, one_of, word
from labresults.terms import BelowInSum, DerivedForm


class DerivedDefinition(Made):
    """A derived result by its code: form, terms and source. A version that was used is never changed, only replaced."""

    code = models.SlugField(max_length=20)
    version = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=100)
    reported_as = models.CharField(max_length=24, help_text="Heading of its column.")
    unit = models.CharField(max_length=20)
    form = word(DerivedForm)
    terms = models.JSONField(help_text="Of each term: part, element, as, unit, factor, by (method codes; empty: any).")
    below = word(BelowInSum, default=BelowInSum.ZERO)
    all_needed = models.BooleanField(default=True, help_text="No value where a term has none.")
    source = models.TextField(help_text="Where the formula and its factors come from.")
    remark = models.TextField(blank=True, help_text="What a certificate says beside it.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["code", "version"], name="derived_version_once"),
            one_of("form", DerivedForm, "derived_form"),
            one_of("below", BelowInSum, "derived_below"),
            models.CheckConstraint(condition=~Q(source=""), name="derived_source"),
        ]

    def __str__(self) -> str:
        return f"{self.code} v{self.version}"


class RequestedDerived(models.Model):
    """A derived result that is asked for with a request."""

    request = models.ForeignKey("labresults.Request", on_delete=models.PROTECT, related_name="derived")
    definition = models.ForeignKey(DerivedDefinition, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["request", "definition"], name="derived_asked_once")]


class SampleSet(Made):
    """Samples of a submission that belong together, for a mean over them. Of one name the newest row stands."""

    submission = models.ForeignKey("labresults.Submission", on_delete=models.PROTECT, related_name="sample_sets")
    name = models.CharField(max_length=60)

    class Meta:
        indexes = [models.Index(fields=["submission", "name", "-id"], name="sample_set_newest")]

    def __str__(self) -> str:
        return self.name


class SampleSetMember(models.Model):
    """A sample of a set, and what it stands for."""

    sample_set = models.ForeignKey(SampleSet, on_delete=models.PROTECT, related_name="members")
    sample = models.ForeignKey("labresults.Sample", on_delete=models.PROTECT, related_name="+")
    mass_kg = models.FloatField(help_text="What it stands for, as the client says, kg.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sample_set", "sample"], name="sample_in_set_once"),
            above_zero("mass_kg", "set_mass_above_zero"),
        ]
