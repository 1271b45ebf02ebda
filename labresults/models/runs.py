"""Runs, their positions, the files that the instrument wrote and the readings in them."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, one_of, word
from labresults.terms import Role


class Run(Made):
    """One loading of the instrument with one version of a method."""

    number = models.CharField(max_length=20, unique=True)
    method_version = models.ForeignKey("labresults.MethodVersion", on_delete=models.PROTECT, related_name="runs")
    instrument = models.ForeignKey("labresults.Equipment", on_delete=models.PROTECT, related_name="runs")

    class Meta:
        indexes = [models.Index(fields=["-made_at"], name="run_newest")]

    def __str__(self) -> str:
        return self.number


class Position(models.Model):
    """One place of a run."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="positions")
    number = models.PositiveIntegerField()
    block = models.PositiveSmallIntegerField(default=1, help_text="The calibration block that it belongs to.")
    role = word(Role)
    label = models.CharField(max_length=40)
    lot = models.ForeignKey("labresults.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="positions")
    portion = models.ForeignKey(
        "labresults.TestPortion", null=True, blank=True, on_delete=models.PROTECT, related_name="positions"
    )
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="repeats")
    dilution = models.FloatField(default=1.0, help_text="Made at the instrument, on top of the portion's own, 1.")
    repeat_cause = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "number"], name="position_number_once"),
            models.UniqueConstraint(fields=["run", "label"], name="position_label_once"),
            one_of("role", Role, "position_role"),
            models.CheckConstraint(condition=Q(dilution__gte=1), name="position_dilution_at_least_one"),
            models.CheckConstraint(
                condition=~Q(role__in=[Role.SAMPLE, Role.DUPLICATE, Role.SPIKE]) | Q(portion__isnull=False),
                name="position_of_a_portion",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run}, position {self.number}"


class ReadingFile(Made):
    """A file of readings, byte for byte, with its SHA-256. The same bytes are taken once."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="files")
    name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64, unique=True)
    content = models.BinaryField()
    size_bytes = models.PositiveIntegerField()
    layout = models.ForeignKey("labresults.Layout", on_delete=models.PROTECT, related_name="+")
    unit = models.CharField(max_length=20, help_text="Of the readings in it.")
    measured_from = models.DateTimeField()
    measured_to = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(measured_to__gte=models.F("measured_from")), name="file_measured_period")
        ]

    def __str__(self) -> str:
        return self.name


class Reading(models.Model):
    """One position at one line; replicates as texts, as the file has them. Mean and sd in the file's unit."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="readings")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="readings")
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    file = models.ForeignKey(ReadingFile, on_delete=models.PROTECT, related_name="readings")
    file_row = models.PositiveIntegerField()
    replicates = models.JSONField(help_text="Texts, as received.")
    mean = models.FloatField(null=True, help_text="In the file's unit.")
    sd = models.FloatField(null=True, help_text="In the file's unit.")
    count = models.PositiveSmallIntegerField()
    missing = models.BooleanField(default=False)
    saturated = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "position", "line"], name="reading_once"),
            models.CheckConstraint(
                condition=Q(mean__isnull=False) | Q(missing=True) | Q(saturated=True), name="reading_says_something"
            ),
        ]
