"""Approvals that a later drying overtook: parts of other queries.

A figure on dry basis is computed from a result and the newest moisture of its sample. Who approved the result stands
for the moisture that was there then; one that is recorded later is looked at again, by somebody who did not record it.
"""

from django.db.models import Exists, OuterRef, Q, QuerySet, TextField, Value
from django.db.models.functions import Cast, Concat

from labresults.models import MassLoss, Request, RequestedDerived, ReviewedResult
from labresults.terms import Basis, Decision, DerivedForm, MassLossKind, State


def overtaken() -> Q:
    """Condition on results that reviews speak of: approved before the moisture that its dry basis needs was recorded.

    Of the newest request that asks for a figure on dry basis with this element. Nothing is looked up where no request
    ever asked for one.
    """
    dry = RequestedDerived.objects.filter(definition__form=DerivedForm.DRY)
    younger = Request.objects.filter(
        submission=OuterRef("request__submission"), version__gt=OuterRef("request__version")
    )
    dried = MassLoss.objects.filter(
        kind=MassLossKind.MOISTURE,
        state=State.AS_RECEIVED,
        subsample__sample=OuterRef("result__sample"),
        made_at__gt=OuterRef("review__made_at"),
    )
    named = Concat(Value('"element": "'), OuterRef("result__element"), Value('"'))
    asked = (
        dry.filter(~Exists(younger), request__submission=OuterRef("result__sample__submission"))
        .annotate(text=Cast("definition__terms", TextField()))
        .filter(text__contains=named)
    )
    return (
        Q(Exists(dry))
        & Q(review__decision=Decision.APPROVE)
        & ~Q(result__basis=Basis.DRY)
        & Q(Exists(dried))
        & Q(Exists(asked))
    )


def said_and_holding() -> QuerySet[ReviewedResult]:
    """What was said of the result of a selection, less approvals that were overtaken; part of another query."""
    return ReviewedResult.objects.filter(~overtaken(), result=OuterRef("result"))
