"""What the database itself promises: units, choices, protected references."""

import pytest
from django.apps import apps
from django.db import IntegrityError, models, transaction

from labresults.models import Line, Sample, Submission
from tests.builders import Laboratory, a_submission

OURS = [model for label in ("labresults", "reports") for model in apps.get_app_config(label).get_models()]
UNITS = ("_g", "_mL", "_um", "_nm", "_percent", "_kg_per_L", "_bytes")


def fields(kind: type[models.Field]) -> list[models.Field]:  # type: ignore[type-arg]
    return [field for model in OURS for field in model._meta.local_fields if isinstance(field, kind)]


def names(found: list[models.Field]) -> list[str]:  # type: ignore[type-arg]
    return [f"{field.model.__name__}.{field.name}" for field in found]


def test_every_quantity_has_its_unit_in_its_name_or_beside_it() -> None:
    without = [f for f in fields(models.FloatField) if not f.name.endswith(UNITS) and not f.help_text and _counts(f)]
    assert names(without) == []


def _counts(field: models.Field) -> bool:  # type: ignore[type-arg]
    """Coefficients of a curve and coverage factors have units that follow from their row, as its docstring says."""
    return field.name not in {"b0", "b1", "b2", "se_b0", "se_b1", "se_b2", "r", "coverage_factor"}


def test_every_choice_is_a_check_of_the_database() -> None:
    unchecked = [
        field
        for field in fields(models.CharField)
        if field.choices
        and field.model._meta.app_label in ("labresults", "reports")
        and not any(
            isinstance(constraint, models.CheckConstraint) and f"{field.name}__in" in str(constraint.condition)
            for constraint in field.model._meta.constraints
        )
    ]
    assert names(unchecked) == []


def test_nothing_is_removed_because_something_else_is() -> None:
    weak = [
        field
        for field in fields(models.ForeignKey)
        if field.remote_field.on_delete is not models.PROTECT and not field.model._meta.auto_created
    ]
    assert names(weak) == []


@pytest.mark.parametrize(
    ("change", "constraint"),
    [
        pytest.param({"delivered_g": -1.0}, "delivered_g_above_zero", id="negative mass"),
        pytest.param({"client_identification": ""}, "identification_given", id="blank identification"),
        pytest.param({"client_identification": "NRD014 112.0 m"}, "client_identification", id="repeated"),
    ],
)
def test_the_database_refuses_what_a_form_might_let_pass(
    lab: Laboratory, change: dict[str, object], constraint: str
) -> None:
    submission = a_submission(lab, 2)
    last = submission.samples.latest("ordinal")
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Sample.objects.filter(pk=last.pk).update(**change)


def test_a_submission_with_samples_cannot_be_removed(lab: Laboratory) -> None:
    submission = a_submission(lab)
    with pytest.raises(models.ProtectedError):
        Submission.objects.filter(pk=submission.pk).delete()


def test_an_unknown_word_is_refused(lab: Laboratory) -> None:
    with pytest.raises(IntegrityError, match="line_medium"), transaction.atomic():
        Line.objects.create(element_id="Cu", label="324.754", medium="water")
