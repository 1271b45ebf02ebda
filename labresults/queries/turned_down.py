"""Results that stand and were refused or sent back: parts of other queries."""

from django.db.models import CharField, DateTimeField, Exists, OuterRef, QuerySet, Subquery

from labresults.models import ReviewedResult, Selection, TestPortion
from labresults.terms import Decision, Role, Station


def standing() -> QuerySet[Selection]:
    """Selections that count: none of the same sample, method and element is newer; part of another query."""
    later = Selection.objects.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )
    return Selection.objects.filter(~Exists(later))


def turned_down(selections: QuerySet[Selection]) -> QuerySet[Selection]:
    """Those of them whose result was refused or sent back, annotated with what was `said`, `said_to`, `said_at`."""
    newest = ReviewedResult.objects.filter(result=OuterRef("result")).order_by("-pk")
    return selections.annotate(
        said=Subquery(newest.values("review__decision")[:1], output_field=CharField()),
        said_to=Subquery(newest.values("review__sent_to")[:1], output_field=CharField()),
        said_at=Subquery(newest.values("review__made_at")[:1], output_field=DateTimeField()),
    ).filter(said__in=[Decision.REFUSE, Decision.SEND_BACK])


def to_prepare(selections: QuerySet[Selection]) -> QuerySet[Selection]:
    """Those of turned-down selections that wait to be prepared anew: sent to Preparation, and not weighed since."""
    return selections.filter(said_to=Station.PREPARATION).filter(~Exists(prepared_since()))


def prepared_since() -> QuerySet[TestPortion]:
    """Portions of a selection's sample, weighed by its method in a batch begun since `said_at`; part of a query."""
    return TestPortion.objects.filter(
        role=Role.SAMPLE,
        discarded__isnull=True,
        weighings__isnull=False,
        subsample__sample=OuterRef("sample"),
        batch__method_version__method=OuterRef("method"),
        batch__made_at__gt=OuterRef("said_at"),
    )
