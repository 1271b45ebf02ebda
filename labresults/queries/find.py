"""Where a number or an identification leads: what a scanner or a hand put into the box at the top."""

from dataclasses import dataclass

from django.db.models import Q

from labresults.models import Equipment, Lot, Method, PreparationBatch, Run, Sample, Submission, TestPortion

_MOST = 50


@dataclass(frozen=True)
class Found:
    """One thing: its kind, its number, more words, and the page that shows it."""

    kind: str
    number: str
    words: str
    page: str
    arguments: tuple[object, ...]


def exactly(asked: str) -> Found | None:
    """The one thing of this very number or label, whatever the case; None when there is none. At most nine queries."""
    for kind, model, field, page in (
        ("sample", Sample, "number", "sample"),
        ("submission", Submission, "number", "submission"),
        ("batch", PreparationBatch, "number", "batch"),
        ("run", Run, "number", "run"),
        ("lot", Lot, "number", "lot"),
        ("method", Method, "code", "method"),
        ("equipment", Equipment, "code", "equipment-item"),
    ):
        number = model._default_manager.filter(**{f"{field}__iexact": asked}).values_list(field, flat=True).first()
        if number:
            return Found(kind, number, "", page, (number,))
    return _certificate(asked) or _tube(asked)


def like(asked: str) -> list[Found]:
    """Things whose number, identification, reference or name holds what was asked; three queries, 50 of each."""
    found = [
        Found("sample", row.number, f"{row.client_identification}, {row.submission}", "sample", (row.number,))
        for row in Sample.objects.filter(Q(client_identification__icontains=asked) | Q(number__icontains=asked))
        .select_related("submission")
        .order_by("-pk")[:_MOST]
    ]
    found += [
        Found("submission", row.number, f"{row.client}, {row.reference}".rstrip(", "), "submission", (row.number,))
        for row in Submission.objects.filter(
            Q(number__icontains=asked) | Q(reference__icontains=asked) | Q(client__name__icontains=asked)
        )
        .select_related("client")
        .order_by("-pk")[:_MOST]
    ]
    found += [
        Found("lot", row.number, row.material.name, "lot", (row.number,))
        for row in Lot.objects.filter(Q(number__icontains=asked) | Q(material__name__icontains=asked))
        .select_related("material")
        .order_by("-pk")[:_MOST]
    ]
    return found


def _certificate(asked: str) -> Found | None:
    """The newest issue of a certificate, by its number or its check code."""
    row = (
        Submission.objects.filter(Q(certificates__number__iexact=asked) | Q(certificates__check_code__iexact=asked))
        .order_by("-certificates__issue")
        .values_list("certificates__number", "certificates__issue")
        .first()
    )
    return Found("certificate", row[0], f"issue {row[1]}", "certificate", (row[0], row[1])) if row else None


def _tube(asked: str) -> Found | None:
    """The batch of a tube, by what stands on it."""
    row = TestPortion.objects.filter(label__iexact=asked).select_related("batch").order_by("-pk").first()
    return Found("batch", row.batch.number, row.label, "batch", (row.batch.number,)) if row else None
