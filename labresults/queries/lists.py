"""What the lists show: one query a page for each, whatever its length; counts are of the rows shown only."""

from django.db.models import Count, OuterRef, QuerySet, Subquery

from labresults.models import (
    AuditEvent,
    Client,
    Equipment,
    EquipmentCheck,
    Lot,
    Method,
    MethodVersion,
    Person,
    Request,
    Sample,
    Submission,
)
from labresults.queries.issued import has_final


def submissions() -> QuerySet[Submission]:
    """Submissions with due date (of the newest request), number of samples, and whether a final certificate stands."""
    newest = Request.objects.filter(submission=OuterRef("pk")).order_by("-version")
    counted = Sample.objects.filter(submission=OuterRef("pk"), struck_at=None).order_by().values("submission")
    return (
        Submission.objects.select_related("client", "received_by")
        .annotate(
            due_on=Subquery(newest.values("due_on")[:1]),
            sample_count=Subquery(counted.annotate(n=Count("pk")).values("n")),
            certified=has_final(),
        )
        .order_by("-received_at", "-pk")
    )


def samples() -> QuerySet[Sample]:
    """Samples with matrix, submission and client, newest first."""
    return Sample.objects.select_related("matrix", "submission__client").order_by("-pk")


def methods() -> QuerySet[Method]:
    """Methods with the newest version, from when it is valid, and how many runs all versions have seen."""
    newest = MethodVersion.objects.filter(method=OuterRef("pk")).order_by("-version")
    return Method.objects.annotate(
        newest=Subquery(newest.values("version")[:1]),
        valid_from=Subquery(newest.values("valid_from")[:1]),
        dissolution=Subquery(newest.values("dissolution")[:1]),
        run_count=Count("versions__runs"),
    ).order_by("area", "code")


def lots() -> QuerySet[Lot]:
    """Lots with their material, those that expire last first."""
    return Lot.objects.select_related("material", "made_from").order_by("-expires_on", "number")


def equipment() -> QuerySet[Equipment]:
    """Equipment with its newest check."""
    newest = EquipmentCheck.objects.filter(equipment=OuterRef("pk")).order_by("-done_on", "-pk")
    return Equipment.objects.annotate(
        done_on=Subquery(newest.values("done_on")[:1]),
        due_on=Subquery(newest.values("due_on")[:1]),
        passed=Subquery(newest.values("passed")[:1]),
        what=Subquery(newest.values("what")[:1]),
    ).order_by("kind", "code")


def clients() -> QuerySet[Client]:
    """Clients with how much they delivered."""
    return Client.objects.annotate(submission_count=Count("submissions")).order_by("name")


def people() -> QuerySet[Person]:
    """People who can sign in; a second query brings the roles."""
    return Person.objects.select_related("client").prefetch_related("groups").order_by("last_name", "first_name")


def audit_events() -> QuerySet[AuditEvent]:
    """Events, newest first."""
    return AuditEvent.objects.select_related("person").order_by("-seq")
