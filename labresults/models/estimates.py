"""What the laboratory's own runs say of a method: limits by named procedures, and what elements pretend at lines."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, above_zero, one_of, word
from labresults.terms import LimitProcedure, LimitQuantity


class LimitEstimate(Made):
    """A limit of a line as it was found by a named procedure, with which of the three quantities it is."""

    method_version = models.ForeignKey(
        "labresults.MethodVersion", on_delete=models.PROTECT, related_name="limit_estimates"
    )
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    procedure = word(LimitProcedure)
    quantity = word(LimitQuantity)
    value = models.FloatField(help_text="In the unit beside it.")
    unit = models.CharField(max_length=20)
    count = models.PositiveIntegerField(help_text="Values that it stands on.")
    inputs = models.JSONField(default=list, help_text="[run, position, value] of each value that it stands on.")
    words = models.TextField(help_text="How it was found, with its numbers and the source of the procedure.")
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            one_of("procedure", LimitProcedure, "limit_estimate_procedure"),
            one_of("quantity", LimitQuantity, "limit_estimate_quantity"),
            above_zero("value", "limit_estimate_above_zero"),
            models.CheckConstraint(
                condition=~Q(procedure=LimitProcedure.BY_HAND) | ~Q(reason=""), name="limit_by_hand_has_reason"
            ),
        ]
        indexes = [models.Index(fields=["method_version", "line", "-id"], name="limit_estimate_newest")]


class InterferenceEstimate(Made):
    """What an element pretends at a line, as a single-element solution of a run showed it."""

    evaluation = models.ForeignKey(
        "labresults.Evaluation", on_delete=models.PROTECT, related_name="interference_estimates"
    )
    position = models.ForeignKey("labresults.Position", on_delete=models.PROTECT, related_name="+")
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    element = models.ForeignKey(
        "labresults.Element", on_delete=models.PROTECT, related_name="+", help_text="That interferes."
    )
    apparent = models.FloatField(help_text="Solution units at the line for each solution unit of the element.")
    u = models.FloatField(null=True, help_text="Standard uncertainty, the same.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["evaluation", "position", "line"], name="interference_estimate_once")
        ]
