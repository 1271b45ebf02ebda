"""What waits for review, submission by submission. Each function says how many database queries it makes."""

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from labresults.models import Submission
from labresults.queries.lists import submissions
from labresults.queries.overtaken import said_and_holding
from labresults.queries.turned_down import standing
from labresults.queries.waiting import open_work


def reviewable() -> QuerySet[Submission]:
    """Submissions with the number of results that nobody has decided about, `unsaid`; one query a page."""
    unsaid = standing().filter(~Exists(said_and_holding()), sample__submission=OuterRef("pk"))
    counted = unsaid.order_by().values("sample__submission").annotate(n=Count("pk")).values("n")
    return submissions().annotate(unsaid=Coalesce(Subquery(counted), 0))


def waiting_numbers() -> list[str]:
    """Submissions on the path, in which results can wait; queries as `open_work`."""
    return list(dict.fromkeys(row.submission for row in open_work()))
