"""Runs, their positions, the files that the instrument wrote and the readings in them."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, one_of, word
from labresults.terms import Repeat, Role, WayIn


class Run(Made):
    """One loading of the instrument with one version of a method."""

    number = models.CharField(max_length=20, unique=True)
    method_version = models.ForeignKey("labresults.MethodVersion", on_delete=models.PROTECT, related_name="runs")
    instrument = models.ForeignKey("labresults.Equipment", on_delete=models.PROTECT, related_name="runs")
    replaces = models.OneToOneField(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="replaced_by",
        help_text="The plan that this one stands in place of; nothing was read of it.",
    )
    form_key = models.CharField(
        max_length=40, null=True, blank=True, unique=True, help_text="Of the form that it was planned with, once."
    )

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
    repeat = word(Repeat, default=Repeat.NONE)
    rack = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Of the tray at the instrument.")
    cup = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Place in the rack, from 1.")
    added_lot = models.ForeignKey(
        "labresults.Lot",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="additions",
        help_text="What was added to the test solution at the instrument.",
    )
    added_mL = models.FloatField(null=True, blank=True, help_text="Volume of it, mL.")
    made_up_mL = models.FloatField(null=True, blank=True, help_text="Volume after the addition, mL.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "number"], name="position_number_once"),
            models.UniqueConstraint(fields=["run", "label"], name="position_label_once"),
            one_of("role", Role, "position_role"),
            one_of("repeat", Repeat, "position_repeat"),
            models.CheckConstraint(
                condition=Q(added_lot__isnull=True)
                | Q(added_mL__gt=0, made_up_mL__gte=models.F("added_mL"), portion__isnull=False),
                name="position_addition_whole",
            ),
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
    way = word(WayIn, default=WayIn.BROWSER)
    struck = models.JSONField(default=list, help_text="[row, why] of each row of the file that was not taken.")
    matched = models.JSONField(
        default=dict, help_text="What the file calls a position to its number in the run, where a person said so."
    )
    position_times = models.JSONField(default=dict, help_text="Position number to when it was read, ISO 8601.")
    text_units = models.JSONField(
        default=dict,
        help_text="Line to the unit of its texts where they were converted; or to that of each position by its number.",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(measured_to__gte=models.F("measured_from")), name="file_measured_period"
            ),
            one_of("way", WayIn, "file_way"),
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
    instrument_concentration = models.FloatField(
        null=True, help_text="What the instrument itself made of the signals, where the file says; unit beside it."
    )
    instrument_unit = models.CharField(max_length=20, blank=True, db_default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "position", "line"], name="reading_once"),
            models.CheckConstraint(
                condition=Q(mean__isnull=False) | Q(missing=True) | Q(saturated=True), name="reading_says_something"
            ),
        ]


class LetStand(Made):
    """A proposed repeat that is not measured again, by name and with a reason."""

    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="let_stand")
    line = models.ForeignKey("labresults.Line", null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="let_stand_reason")]
