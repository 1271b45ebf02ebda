"""What was let be used by name, although it had expired or was overdue, for what a reviewer is about to sign."""

from datetime import UTC

from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import TruncDate

from labresults.models import MassLoss, Override, PreparationBatch, Submission, Weighing


def overrides_behind(submission: Submission) -> list[Override]:
    """Overrides that preparation of the samples of a submission stood on, the oldest first; one query.

    Balances, ovens: on the day on which they were used. Lots: of the batches' reagents, control samples and spikes, let
    be used on the day of the batch or later. Days are those of UTC, as acts count them.
    """
    batches = PreparationBatch.objects.filter(portions__subsample__sample__submission=submission)
    day = TruncDate("made_at", tzinfo=UTC)
    weighed = Weighing.objects.filter(portion__batch__in=batches).annotate(day=day).filter(day=OuterRef("valid_on"))
    dried = MassLoss.objects.filter(subsample__sample__submission=submission).annotate(day=day)
    dried = dried.filter(Q(balance=OuterRef("equipment")) | Q(oven=OuterRef("equipment")), day=OuterRef("valid_on"))
    of_batch = batches.annotate(day=day).filter(day__lte=OuterRef("valid_on"))
    used = (
        Exists(weighed.filter(balance=OuterRef("equipment")))
        | Exists(dried)
        | Exists(of_batch.filter(reagents=OuterRef("lot")))
        | Exists(of_batch.filter(portions__lot=OuterRef("lot")))
        | Exists(weighed.filter(spike_lot=OuterRef("lot")))
    )
    return list(Override.objects.filter(used).select_related("lot__material", "equipment", "made_by").order_by("pk"))
