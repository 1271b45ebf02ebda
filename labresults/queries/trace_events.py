"""The audit events of a trace: those of the things that it stands on, found in one query, and which belongs to what."""

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Q

from labresults.models import AuditEvent, EquipmentCheck, Lot, MassLoss, Result, Weighing

Subject = tuple[str, str]  # kind and public number

ON_THE_WAY = frozenset({"run", "batch", "sample", "submission", "certificate"})
"""Kinds of things whose events tell the way of a number from the counter to the certificate."""


def subjects_of(result: Result, printed: Sequence[Any], lots: Sequence[Lot]) -> list[Subject]:
    """What the events of a trace are about: each has few, however long the laboratory works; no query."""
    run, portion, sample = result.evaluation.run, result.position.portion, result.sample
    found = [("run", run.number), ("method", str(run.method_version))]
    found += [("batch", portion.batch.number)] if portion else []
    found += [("sample", sample.number), ("submission", sample.submission.number)] if sample else []
    found += [("lot", lot.number) for lot in lots]
    for line in printed:
        found += [("certificate", str(line.certificate)), ("rule set", str(line.certificate.rule_set))]
    return list(dict.fromkeys(found))


def moments_of(
    dried: MassLoss | None, weighing: Weighing | None, check: EquipmentCheck | None
) -> list[tuple[Subject, datetime]]:
    """Things of which one event of many is meant: a drying of its kind, a check of a balance; no query."""
    found: list[tuple[Subject, datetime]] = []
    if dried:
        found.append((("mass losses", str(dried.kind)), dried.made_at))
    if weighing and weighing.balance and check:
        found.append((("equipment", weighing.balance.code), check.made_at))
    return found


def events_of(subjects: Collection[Subject], moments: Collection[tuple[Subject, datetime]]) -> list[AuditEvent]:
    """Events about these things, and those of these moments, the oldest first; one query by the index of subjects."""
    wanted = [Q(subject_kind=kind, subject=name[:100]) for kind, name in subjects]
    wanted += [Q(subject_kind=kind, subject=name[:100], at=at) for (kind, name), at in moments]
    rows = AuditEvent.objects.filter(reduce(or_, wanted)).select_related("person").order_by("seq")
    return list(rows.defer("content"))


def belonging(events: Sequence[AuditEvent], subject: Subject | None, at: datetime | None) -> tuple[int, ...]:
    """Numbers of the events about a thing: the one that made it where its moment tells, else all; no query."""
    about = [event for event in events if subject and (event.subject_kind, event.subject) == (*subject,)]
    exact = [event for event in about if event.at == at]
    return tuple(event.seq for event in exact or about)
