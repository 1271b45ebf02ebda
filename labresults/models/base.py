"""What several tables share: constraints by name, and choices from the vocabulary."""

from enum import StrEnum

from django.db import models
from django.db.models import Q


def choices(words: type[StrEnum]) -> list[tuple[str, str]]:
    """Choices of a field from an enumeration of `labresults.terms`."""
    return [(word.value, word.value) for word in words]


def one_of(field: str, words: type[StrEnum], name: str) -> models.CheckConstraint:
    """The database itself refuses a word that the vocabulary does not have."""
    return models.CheckConstraint(condition=Q(**{f"{field}__in": [word.value for word in words]}), name=name)


def above_zero(field: str, name: str) -> models.CheckConstraint:
    """A quantity that, where it is given, must be above zero."""
    return models.CheckConstraint(condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gt": 0}), name=name)


def not_below_zero(field: str, name: str) -> models.CheckConstraint:
    """A quantity that, where it is given, must not be below zero."""
    return models.CheckConstraint(condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gte": 0}), name=name)


def word(words: type[StrEnum], *, max_length: int = 50, **options: object) -> models.CharField:  # type: ignore[type-arg]
    """A column that holds one word of the vocabulary."""
    return models.CharField(max_length=max_length, choices=choices(words), **options)  # type: ignore[arg-type]


class Made(models.Model):
    """A row that says who made it and when (UTC)."""

    made_by = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta:
        abstract = True
