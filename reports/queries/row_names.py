"""What a row is called when something is wrong with it: as the laboratory would say it, whatever else is damaged."""

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db import Error
from django.db.models import Model

_NAMES: dict[str, Callable[[Any], str]] = {
    "Result": lambda row: f"{row.element_id} in {row.sample or row.position.label}, position {row.position}",
    "Selection": lambda row: f"selection of {row.element_id} in {row.sample}",
    "ReviewedResult": lambda row: f"review of {row.result.element_id} in {row.result.sample}",
    "Review": lambda row: f"{row.decision} by {row.made_by}",
    "Calibration": lambda row: f"calibration of {row.line} in {row.evaluation.run}",
    "ControlOutcome": lambda row: f"{row.position.label} at {row.line} in {row.evaluation.run}",
    "Acceptance": lambda row: f"acceptance of {row.outcome.position.label} in {row.outcome.evaluation.run}",
    "Evaluation": lambda row: f"evaluation {row.version} of {row.run}",
    "Reading": lambda row: f"reading of {row.position} at {row.line}",
    "Weighing": lambda row: f"weighing {row.version} of {row.portion}",
    "FireCharge": lambda row: f"crucible {row.version} of {row.portion}",
    "MassLoss": lambda row: f"{row.kind} of {row.subsample.sample}",
    "Subsample": lambda row: f"{row.kind} of {row.sample}",
    "SampleCorrection": lambda row: f"correction of {row.sample}",
    "NotMeasuredResult": lambda row: f"{row.word} for {row.sample} by {row.method}",
    "Request": lambda row: f"request {row.version} of {row.submission}",
    "RequestedMethod": lambda row: f"{row.method} asked with request {row.request.version} of {row.request.submission}",
    "RequestedTerms": lambda row: f"terms of {row.sample}",
    "Limit": lambda row: f"limit of {row.of} in {row.limit_set}",
    "MethodLine": lambda row: f"{row.line} in {row.method_version}",
    "Determination": lambda row: f"{row.element_id} in {row.method_version}",
    "Criterion": lambda row: f"criterion of {row.role} in {row.method_version}",
    "Content": lambda row: f"content of {row.element_id} in lot {row.lot}",
    "EquipmentCheck": lambda row: f"check of {row.equipment} on {row.done_on}",
    "CertificateLine": lambda row: f"printed {row.column} of {row.sample or row.sample_set}",
}


def name_row(model: type[Model], key: Any) -> str:
    """Name one row; a few queries. Where what it refers to is damaged too, it is called by its table alone."""
    kind = str(model._meta.verbose_name)
    try:
        row = model._default_manager.get(pk=key)
        name = _NAMES.get(model._meta.object_name or "")
        return name(row) if name else f"{kind} {row}" if type(row).__str__ is not Model.__str__ else kind
    except (ObjectDoesNotExist, LookupError, TypeError, ValueError, AttributeError, Error):
        return kind
