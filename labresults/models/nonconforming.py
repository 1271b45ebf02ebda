"""Nonconforming work (ISO/IEC 17025:2017, 7.10): what was wrong, what it touched, and what was done about it."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, one_of, word
from labresults.terms import DoubtKind, NonconformingAct


class NonconformingWork(Made):
    """Work that did not follow the procedure, found from one thing that was doubtful."""

    number = models.CharField(max_length=20, unique=True)
    kind = word(DoubtKind, max_length=20, help_text="Kind of the thing that it was found from.")
    name = models.CharField(max_length=60, blank=True, help_text="Which one; empty: all work of a period.")
    element = models.CharField(max_length=2, blank=True, help_text="Only results of this element; empty: of all.")
    period_from = models.DateTimeField(null=True, blank=True, help_text="Only what was made from then on.")
    period_to = models.DateTimeField(null=True, blank=True, help_text="Only what was made until then.")
    what = models.TextField(help_text="What was wrong, and how it was found.")
    effect = models.TextField(help_text="What it may have done to results: the risk, in words.")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(what="") & ~Q(effect=""), name="nonconforming_said"),
            one_of("kind", DoubtKind, "nonconforming_kind"),
        ]

    def __str__(self) -> str:
        return self.number


class NonconformingResult(models.Model):
    """A result that it touched when it was opened."""

    work = models.ForeignKey(NonconformingWork, on_delete=models.PROTECT, related_name="touched")
    result = models.ForeignKey("labresults.Result", on_delete=models.PROTECT, related_name="nonconforming")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["work", "result"], name="nonconforming_once")]


class NonconformingStep(Made):
    """One thing that was done about it. Held from a hold until a release; closed with a name, for good."""

    work = models.ForeignKey(NonconformingWork, on_delete=models.PROTECT, related_name="steps")
    act = word(NonconformingAct)
    text = models.TextField()

    class Meta:
        constraints = [
            one_of("act", NonconformingAct, "nonconforming_act"),
            models.CheckConstraint(condition=~Q(text=""), name="nonconforming_step_text"),
        ]
