"""The laboratory, its people and what they are authorised to do."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q

from labresults.models.base import Made, one_of, word
from labresults.terms import Task


class Laboratory(models.Model):
    """The laboratory that this database belongs to: one row."""

    name = models.CharField(max_length=200)
    address = models.TextField(help_text="One line of the address a line.")
    place_of_work = models.CharField(max_length=200, help_text="Where the laboratory activities are done.")
    prefix = models.CharField(max_length=4, help_text="Stands before every laboratory number.")
    time_zone = models.CharField(max_length=50, default="UTC")
    invented = models.BooleanField(default=False, help_text="Demonstration data: every document says so.")
    separation_exception = models.TextField(
        blank=True, help_text="Named policy under which a person may review their own work; empty: never."
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="one_laboratory")]

    def __str__(self) -> str:
        return self.name


class Person(AbstractUser):
    """Somebody who can sign in. A client's person belongs to that client and sees nothing else."""

    client = models.ForeignKey(
        "labresults.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="people"
    )

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Authorisation(Made):
    """Who may do which task with which method, from when to when (ISO/IEC 17025:2017, 6.2.6)."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="authorisations")
    task = word(Task)
    method = models.ForeignKey(
        "labresults.Method", null=True, blank=True, on_delete=models.PROTECT, help_text="Empty: every method."
    )
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            one_of("task", Task, "authorisation_task"),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="authorisation_period"
            ),
        ]


class NumberSeries(models.Model):
    """The last number given in a series and year. Numbers are never used again."""

    series = models.CharField(max_length=1)
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "year"], name="one_series_a_year")]
