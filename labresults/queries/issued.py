"""The one place that asks whether something is on a certificate: by reverse name, since reports stands above."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from labresults.models import Sample, Submission


def certificates_carrying(sample: Sample) -> list[str]:
    """Issues in force that carry a sample, e.g. "C26-0297, issue 2"; two queries.

    In force is what was issued (drawn or not, preliminary or final), not withdrawn and not replaced by a later issue.
    The frozen documents are asked too: a sample can stand on a certificate without any printed number.
    """
    printed = _issues().filter(pk__in=_lines().filter(sample=sample).values("certificate"))
    listed = _issues().filter(_stands_on([sample.submission_id]), document__contains=f'"{sample.number}"')
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
    """Whether a final certificate of a submission is in force, alone or with others; one query."""
    return _issues().filter(_stands_on([submission.pk]), preliminary=False).exists()


def issues_of_submissions(submissions: Collection[int]) -> QuerySet[Any]:
    """Every issue on which any of these submissions (by key) stands, alone or with others; one query when asked."""
    issue: Any = _issues().model
    rows = issue.objects.filter(_stands_on(submissions)).defer("document", "replaced_by__document")
    related: QuerySet[Any] = rows.select_related("submission", "made_by", "withdrawal", "replaced_by")
    return related


def answered() -> Q:
    """Condition on requests: a final certificate in force is younger than it; part of another query."""
    return _has_final("submission", made_at__gte=OuterRef("made_at"))


def has_final() -> Q:
    """Condition on submissions: a final certificate is in force; part of another query."""
    return _has_final("pk")


def first_issued(since: datetime, until: datetime) -> dict[int, datetime]:
    """When submissions (by key) had their first final certificate, alone or with others, in a period; two queries."""
    first = _issues().model.objects.filter(issue=1, preliminary=False, made_at__gte=since, made_at__lt=until)
    rows = [*first.values_list("submission", "made_at")]
    rows += first.filter(further__isnull=False).values_list("further__submission", "made_at")
    return dict(sorted(rows, key=lambda row: row[1]))


def _has_final(submission: str, **more: Any) -> Q:
    final = _issues().filter(preliminary=False, **more)
    alone = final.filter(submission=OuterRef(submission))
    return Q(Exists(alone)) | Q(Exists(final.filter(further__submission=OuterRef(submission))))


def _stands_on(submissions: Collection[int]) -> Q:
    further: Any = _issues().model._meta.get_field("further").related_model
    beside = further.objects.filter(submission__in=submissions).values("certificate")
    return Q(submission__in=submissions) | Q(pk__in=beside)


def is_printed() -> Q:
    """Condition on results: a certificate prints it, or prints what was derived from it; part of another query."""
    inputs = _inputs().values("result")
    return Q(pk__in=_lines().filter(result__isnull=False).values("result")) | Q(pk__in=inputs)


def numbers_standing_on(results: QuerySet[Any]) -> dict[int, int]:
    """How many printed numbers of each issue stand on any of these results, by the issue's key; one query."""
    keys = results.order_by().values("pk")
    derived = _inputs().filter(result__in=keys).values("line")
    lines = _lines().filter(Q(result__in=keys) | Q(pk__in=derived))
    rows = lines.order_by().values_list("certificate").annotate(count=Count("pk"))
    return dict(rows.order_by("-certificate"))


def issues_of_results(results: QuerySet[Any]) -> list[tuple[int, str, int]]:
    """Result, number and issue of each place where one of these results is printed or derived from; two queries."""
    keys = results.order_by().values("pk")
    issue = ("certificate__number", "certificate__issue")
    printed = _lines().filter(result__in=keys).order_by("pk").values_list("result", *issue)
    derived = _inputs().filter(result__in=keys).order_by("pk")
    return list(dict.fromkeys([*printed, *derived.values_list("result", *(f"line__{name}" for name in issue))]))


def in_force_with(results: QuerySet[Any]) -> dict[int, list[str]]:
    """Issues in force that print each of these results or what was derived from it, by its key; two queries."""
    keys = results.order_by().values("pk")
    printed = _lines().filter(result__in=keys, certificate__in=_issues())
    derived = _inputs().filter(result__in=keys, line__certificate__in=_issues())
    rows = {*printed.values_list("result", "certificate__number", "certificate__issue")}
    rows |= {*derived.values_list("result", "line__certificate__number", "line__certificate__issue")}
    found: dict[int, list[str]] = {}
    for pk, number, issue in sorted(rows):
        found.setdefault(pk, []).append(f"{number}, issue {issue}")
    return found


def issues_with_who_has_them(keys: Collection[int]) -> list[Any]:
    """These issues, newest first, with what became of each, who fetched it and who was told of it; three queries."""
    issue: Any = _issues().model
    related = issue.objects.filter(pk__in=keys).select_related(
        "submission__client", "made_by", "withdrawal", "replaced_by"
    )
    return list(related.prefetch_related("fetches__made_by", "notices").defer("document").order_by("-pk"))


def _inputs() -> QuerySet[Any]:
    """Results that printed derived numbers were computed from; part of another query."""
    rows: QuerySet[Any] = _lines().model._meta.get_field("inputs").related_model.objects.all()
    return rows


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
