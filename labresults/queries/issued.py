"""The one place that asks whether something is on a certificate: by reverse name, since reports stands above."""

from typing import Any

from django.db.models import Q, QuerySet

from labresults.models import Sample, Submission


def certificates_carrying(sample: Sample) -> list[str]:
    """Issues in force that carry a sample, e.g. "C26-0297, issue 2"; two queries.

    In force is what was issued (drawn or not, preliminary or final), not withdrawn and not replaced by a later issue.
    The frozen documents are asked too: a sample can stand on a certificate without any printed number.
    """
    printed = _issues().filter(pk__in=_lines().filter(sample=sample).values("certificate"))
    listed = _issues().filter(submission=sample.submission_id, document__contains=f'"{sample.number}"')
    found = {tuple(row) for rows in (printed, listed) for row in rows.values_list("number", "issue")}
    return [f"{number}, issue {issue}" for number, issue in sorted(found)]


def issues_of_sample(sample: Sample) -> list[Any]:
    """Every issue on which a number of a sample is printed, newest first, with what became of each; one query."""
    issue: Any = _issues().model
    related = issue.objects.select_related("made_by", "withdrawal", "replaced_by").defer("document")
    return list(
        related.filter(pk__in=_lines().filter(sample=sample).values("certificate")).order_by("number", "-issue")
    )


def is_certified(submission: Submission) -> bool:
    """Whether a final certificate of a submission is in force; one query."""
    return _issues().filter(submission=submission, preliminary=False).exists()


def _issues() -> QuerySet[Any]:
    """Issues in force; part of another query."""
    issue: Any = Submission._meta.get_field("certificates").related_model
    in_force: QuerySet[Any] = issue.objects.filter(Q(withdrawal__isnull=True), Q(replaced_by__isnull=True))
    return in_force


def _lines() -> QuerySet[Any]:
    """Printed numbers; part of another query."""
    line: Any = _issues().model._meta.get_field("lines").related_model
    rows: QuerySet[Any] = line.objects.all()
    return rows
