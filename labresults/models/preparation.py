"""Preparation batches, test portions and what was weighed, made up and diluted."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, above_zero, one_of, word
from labresults.terms import Repeat, Role, State


class PreparationBatch(Made):
    """Portions prepared together: its control samples speak for its members."""

    number = models.CharField(max_length=20, unique=True)
    method_version = models.ForeignKey("labresults.MethodVersion", on_delete=models.PROTECT, related_name="batches")
    caution_read = models.BooleanField(default=False, help_text="The preparer confirmed that the caution was read.")
    reagents = models.ManyToManyField("labresults.Lot", related_name="batches")
    seed = models.PositiveBigIntegerField(null=True, blank=True, help_text="Where control samples stand at random.")

    def __str__(self) -> str:
        return self.number


class TestPortion(models.Model):
    """The part taken for one preparation: of a subsample, of a reference material, or of nothing (method blank)."""

    batch = models.ForeignKey(PreparationBatch, on_delete=models.PROTECT, related_name="portions")
    tube = models.PositiveSmallIntegerField()
    label = models.CharField(max_length=40, help_text="What stands on the tube and in the run list.")
    role = word(Role)
    subsample = models.ForeignKey(
        "labresults.Subsample", null=True, blank=True, on_delete=models.PROTECT, related_name="portions"
    )
    lot = models.ForeignKey("labresults.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="portions")
    planned = models.ForeignKey(
        "labresults.PlannedControl",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The control sample that the method version asks for; empty for samples.",
    )
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="repeats")
    repeat = word(Repeat, default=Repeat.NONE)
    repeat_cause = models.TextField(blank=True, help_text="Recorded before the repeat is read.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["batch", "tube"], name="tube_once"),
            models.UniqueConstraint(fields=["batch", "label"], name="tube_label_once"),
            one_of("role", Role, "portion_role"),
            one_of("repeat", Repeat, "portion_repeat"),
            models.CheckConstraint(
                condition=~Q(role=Role.SAMPLE) | Q(subsample__isnull=False), name="portion_of_a_sample"
            ),
            models.CheckConstraint(
                condition=~Q(role__in=[Role.DUPLICATE, Role.SPIKE]) | Q(parent__isnull=False, subsample__isnull=False),
                name="portion_has_parent",
            ),
            models.CheckConstraint(
                condition=~Q(role=Role.REFERENCE_MATERIAL) | Q(lot__isnull=False), name="portion_of_a_lot"
            ),
        ]
        indexes = [models.Index(fields=["label"], name="portion_by_label")]

    def __str__(self) -> str:
        return self.label


class Weighing(Made):
    """What was weighed, made up and diluted: a technical record. A correction is a newer row with a reason."""

    portion = models.ForeignKey(TestPortion, on_delete=models.PROTECT, related_name="weighings")
    version = models.PositiveSmallIntegerField()
    observed_at = models.DateTimeField(help_text="When it was read; `made_at` is when it was entered.")
    tare_g = models.FloatField(null=True, help_text="Empty vessel, g.")
    mass_g = models.FloatField(null=True, help_text="Test portion, g.")
    volume_mL = models.FloatField(null=True, help_text="Made up to, mL.")
    aliquot_mL = models.FloatField(null=True, help_text="Volume of sample taken, mL.")
    solvent_g = models.FloatField(null=True, help_text="Solvent added, g.")
    final_g = models.FloatField(null=True, help_text="Mass of the test solution, g, where it was made up by mass.")
    solution_kg_per_L = models.FloatField(null=True, help_text="Density of the test solution, kg/L.")
    internal_standard_lot = models.ForeignKey(
        "labresults.Lot", null=True, on_delete=models.PROTECT, related_name="added_as_internal_standard"
    )
    internal_standard_g = models.FloatField(null=True, help_text="Internal standard solution added, g.")
    dilution_written = models.CharField(
        max_length=200, blank=True, help_text="As written: 1 + 9, 1 in 10, x 10, 5 mL to 50 mL; steps with commas."
    )
    dilution = models.FloatField(default=1.0, help_text="Total factor, 1.")
    state = word(State)
    moisture_percent = models.FloatField(null=True, help_text="Loss on drying of the state weighed, % of its mass.")
    spike_lot = models.ForeignKey("labresults.Lot", null=True, on_delete=models.PROTECT, related_name="spiked")
    spike_mL = models.FloatField(null=True, help_text="Spiking solution added, mL.")
    balance = models.ForeignKey("labresults.Equipment", null=True, on_delete=models.PROTECT, related_name="+")
    balance_check = models.ForeignKey(
        "labresults.EquipmentCheck",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The calibration or check of the balance that stood then.",
    )
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["portion", "version"], name="weighing_version_once"),
            one_of("state", State, "weighing_state"),
            above_zero("mass_g", "weighing_mass_above_zero"),
            above_zero("volume_mL", "weighing_volume_above_zero"),
            above_zero("aliquot_mL", "weighing_aliquot_above_zero"),
            above_zero("solvent_g", "weighing_solvent_above_zero"),
            above_zero("spike_mL", "weighing_spike_above_zero"),
            above_zero("final_g", "weighing_final_above_zero"),
            above_zero("solution_kg_per_L", "weighing_density_above_zero"),
            above_zero("internal_standard_g", "weighing_internal_standard_above_zero"),
            models.CheckConstraint(condition=Q(dilution__gte=1), name="weighing_dilution_at_least_one"),
            models.CheckConstraint(
                condition=Q(moisture_percent__isnull=True) | Q(moisture_percent__gte=0, moisture_percent__lt=100),
                name="weighing_moisture",
            ),
        ]
        indexes = [
            models.Index(fields=["made_at"], name="weighing_by_time"),
            models.Index(fields=["balance", "observed_at"], name="weighing_by_balance"),
        ]


class DiscardedPortion(Made):
    """A portion that was lost (spilled, boiled dry) with the reason; the one taken instead stands in the same batch."""

    portion = models.OneToOneField(TestPortion, on_delete=models.PROTECT, related_name="discarded")
    replaced_by = models.OneToOneField(
        TestPortion, null=True, blank=True, on_delete=models.PROTECT, related_name="instead_of"
    )
    reason = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="discarded_portion_reason")]


class FireCharge(Made):
    """The fire assay of a portion: where it stood, what was fused with it, button and bead. Newer rows correct older.

    The charge itself is the portion's mass, and the bead's solution its volume: both stand in `Weighing`.
    """

    portion = models.ForeignKey(TestPortion, on_delete=models.PROTECT, related_name="fire_charges")
    version = models.PositiveSmallIntegerField()
    tray = models.CharField(max_length=20)
    crucible = models.PositiveSmallIntegerField()
    flux_lot = models.ForeignKey("labresults.Lot", on_delete=models.PROTECT, related_name="+")
    flux_g = models.FloatField(help_text="g")
    collector_lot = models.ForeignKey(
        "labresults.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    collector_mg = models.FloatField(null=True, blank=True, help_text="Collector silver added, mg.")
    button_g = models.FloatField(null=True, blank=True, help_text="Lead button, g.")
    bead_mg = models.FloatField(null=True, blank=True, help_text="Bead, mg.")
    is_refired = models.BooleanField(default=False, help_text="Fired again with another charge.")
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["portion", "version"], name="fire_charge_version_once"),
            above_zero("flux_g", "fire_charge_flux_above_zero"),
            above_zero("collector_mg", "fire_charge_collector_above_zero"),
            above_zero("button_g", "fire_charge_button_above_zero"),
            above_zero("bead_mg", "fire_charge_bead_above_zero"),
        ]
