"""The things that a search finds, by kind and key, as a list shows them. Each kind takes one query."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q

from labresults.models import (
    Client,
    Equipment,
    Lot,
    Method,
    Person,
    PreparationBatch,
    Run,
    Sample,
    SampleCorrection,
    Submission,
)
from labresults.queries.hits import MOST


@dataclass(frozen=True)
class Found:
    """One thing: its kind, its number, more words, and the page that shows it (`then`: what follows the address).

    names, numbers: what it is found by.
    """

    kind: str
    number: str
    words: str
    page: str
    arguments: tuple[object, ...]
    then: str = ""
    names: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()


def _samples(keys: list[int]) -> list[Found]:
    rows = Sample.objects.filter(pk__in=keys).select_related("submission").order_by("-pk")
    return [
        Found(
            "sample",
            row.number,
            f"{row.client_identification}, {row.submission}{', struck' if row.struck_at else ''}",
            "sample",
            (row.number,),
            names=(row.client_identification,),
            numbers=(row.number,),
        )
        for row in rows
    ]


def _once_called(keys: list[int]) -> list[Found]:
    rows = SampleCorrection.objects.filter(pk__in=keys).select_related("sample__submission").order_by("-pk")
    return [
        Found(
            "sample",
            row.sample.number,
            f"was called {row.before}, now {row.sample.client_identification}, {row.sample.submission}",
            "sample",
            (row.sample.number,),
            names=(row.before,),
        )
        for row in rows
    ]


def _submissions(keys: list[int]) -> list[Found]:
    rows = Submission.objects.filter(pk__in=keys).select_related("client").order_by("-pk")
    return [
        Found(
            "submission",
            row.number,
            f"{row.client}, {row.reference}".rstrip(", "),
            "submission",
            (row.number,),
            names=(row.reference,),
            numbers=(row.number,),
        )
        for row in rows
    ]


def _clients(keys: list[int]) -> list[Found]:
    rows = Client.objects.filter(pk__in=keys).annotate(count=Count("submissions")).order_by("name")
    return [
        Found(
            "client",
            row.code,
            f"{row.name}, {row.count} submission{'' if row.count == 1 else 's'}",
            "submissions",
            (),
            then=f"?client={row.pk}",
            names=(row.name, row.contact),
            numbers=(row.code,),
        )
        for row in rows
    ]


def _batches(keys: list[int]) -> list[Found]:
    rows = PreparationBatch.objects.filter(pk__in=keys).select_related("method_version__method").order_by("-pk")
    return [
        Found("batch", row.number, str(row.method_version), "batch", (row.number,), numbers=(row.number,))
        for row in rows
    ]


def _runs(keys: list[int]) -> list[Found]:
    rows = Run.objects.filter(pk__in=keys).select_related("method_version__method").order_by("-pk")
    return [
        Found("run", row.number, str(row.method_version), "run", (row.number,), numbers=(row.number,)) for row in rows
    ]


def _certificates(keys: list[int]) -> list[Found]:
    certificates: Any = Submission._meta.get_field("certificates").related_model
    rows = certificates.objects.filter(pk__in=keys).select_related("submission__client").defer("document")
    return [
        Found(
            "certificate",
            row.number,
            f"issue {row.issue}, {row.submission}, {row.submission.client}",
            "certificate",
            (row.number, row.issue),
            numbers=(row.number, row.check_code),
        )
        for row in rows.order_by("-pk")
    ]


def _lots(keys: list[int], material_keys: Iterable[int] = ()) -> list[Found]:
    """Lots, and those of materials, that expire last first: 25 are enough."""
    asked = Q(pk__in=keys) | Q(material__in=material_keys)
    rows = Lot.objects.filter(asked).select_related("material").order_by("-expires_on", "-pk")
    return [
        Found(
            "lot",
            row.number,
            f"{row.material.name}, expires {row.expires_on:%Y-%m-%d}",
            "lot",
            (row.number,),
            names=(row.material.name, row.material.code, row.certificate),
            numbers=(row.number,),
        )
        for row in rows[: 2 * MOST]
    ]


def _lots_of_materials(keys: list[int]) -> list[Found]:
    return _lots([], keys)


def _equipment(keys: list[int]) -> list[Found]:
    rows = Equipment.objects.filter(pk__in=keys).order_by("code")
    return [
        Found("equipment", row.code, row.name, "equipment-item", (row.code,), names=(row.name,), numbers=(row.code,))
        for row in rows
    ]


def _methods(keys: list[int]) -> list[Found]:
    rows = Method.objects.filter(pk__in=keys).order_by("code")
    return [
        Found("method", row.code, row.title, "method", (row.code,), names=(row.title,), numbers=(row.code,))
        for row in rows
    ]


def _people(keys: list[int]) -> list[Found]:
    rows = Person.objects.filter(pk__in=keys).select_related("client").order_by("last_name", "first_name")
    return [
        Found(
            "person",
            row.username,
            f"{row}, {row.client}" if row.client else str(row),
            "people",
            (),
            then=f"?q={row.username}",
            names=(f"{row.first_name} {row.last_name}",),
            numbers=(row.username,),
        )
        for row in rows
    ]


SHOWN: dict[str, Callable[[list[int]], list[Found]]] = {
    "sample": _samples,
    "was called": _once_called,
    "submission": _submissions,
    "certificate": _certificates,
    "batch": _batches,
    "run": _runs,
    "client": _clients,
    "lot": _lots,
    "material": _lots_of_materials,
    "equipment": _equipment,
    "method": _methods,
    "person": _people,
}
"""What shows the rows of each kind of `labresults.finding`, in one query."""
