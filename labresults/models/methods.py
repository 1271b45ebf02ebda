"""Methods and their versions: never edited once used, only replaced (ISO/IEC 17025:2017, 7.2)."""

from django.db import models
from django.db.models import F, Q

from labresults.models.base import Made, above_zero, not_below_zero, one_of, word
from labresults.terms import (
    BlankRule,
    Curve,
    DriftRule,
    FitOn,
    Measure,
    Placing,
    Reach,
    Role,
    SolutionKind,
    UncertaintyRule,
    Weighting,
)


class Element(models.Model):
    """A chemical element (IUPAC symbol)."""

    symbol = models.CharField(max_length=2, primary_key=True)
    name = models.CharField(max_length=20, unique=True)
    number = models.PositiveSmallIntegerField(unique=True)
    cas = models.CharField(max_length=12, blank=True)

    def __str__(self) -> str:
        return self.symbol


class Line(models.Model):
    """An emission line: element, wavelength label and medium. Never compared as a float.

    Work without a plasma run has lines too: `label` then names the quantity ("mass loss") and the wavelength is empty.
    """

    element = models.ForeignKey(Element, on_delete=models.PROTECT, related_name="lines")
    label = models.CharField(max_length=30, help_text="Wavelength as the trade writes it, nm.")
    wavelength_nm = models.FloatField(null=True, blank=True)
    medium = models.CharField(max_length=6, choices=[("air", "air"), ("vacuum", "vacuum")], default="air")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["element", "label", "medium"], name="line_once"),
            models.CheckConstraint(condition=Q(medium__in=["air", "vacuum"]), name="line_medium"),
            above_zero("wavelength_nm", "line_wavelength_above_zero"),
        ]

    def __str__(self) -> str:
        return f"{self.element_id} {self.label}"


class Method(models.Model):
    """A procedure by its code; what it is stands in its versions."""

    code = models.CharField(max_length=20, unique=True)
    title = models.CharField(max_length=200)
    area = models.CharField(max_length=60)
    ore_grade_of = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The method whose over-range samples this one measures again.",
    )

    def __str__(self) -> str:
        return self.code


class MethodVersion(Made):
    """A method as validated. Masses in g, volumes in mL, limits in the unit that the column names."""

    method = models.ForeignKey(Method, on_delete=models.PROTECT, related_name="versions")
    version = models.PositiveSmallIntegerField()
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    what_was_done = models.TextField(help_text="One sentence, as certificates print it.")
    dissolution = models.CharField(max_length=60, help_text="Certified values are looked up under this word.")
    solution_kind = word(SolutionKind)
    solution_unit = models.CharField(max_length=10, choices=[("mg/L", "mg/L"), ("mg/kg", "mg/kg")])
    signal_unit = models.CharField(max_length=20, default="counts/s")
    blank_rule = word(BlankRule)
    mass_low_g = models.FloatField(null=True, blank=True, help_text="Lightest portion, g.")
    mass_high_g = models.FloatField(null=True, blank=True, help_text="Heaviest portion, g.")
    volume_mL = models.FloatField(null=True, blank=True, help_text="Made up to, mL.")
    dilution = models.CharField(max_length=60, blank=True, help_text="Usual dilution, as written at the bench.")
    batch_size = models.PositiveSmallIntegerField(default=20)
    turnaround_days = models.PositiveSmallIntegerField(default=7, help_text="Working days.")
    dilution_steps = models.JSONField(default=list, help_text="The laboratory's own factors, ascending.")
    coverage_factor = models.FloatField(default=2.0)
    internal_standard = models.ForeignKey(Line, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    weights_edition = models.CharField(max_length=40)
    selection_rule = models.CharField(max_length=200, default="first valid result of the line that ranks first")
    uncertainty_basis = models.TextField(help_text="What the uncertainty was estimated from, as certificates print it.")
    hazards = models.JSONField(default=list, help_text="[heading, words] pairs shown where the work is done.")
    matrices = models.ManyToManyField("labresults.Matrix", related_name="+")
    cannot_tell = models.JSONField(
        default=dict,
        blank=True,
        help_text="Element to why its dissolution can say nothing of it: lost on the way, or added by the flux.",
    )
    is_extraction = models.BooleanField(
        default=False, help_text="Shaken with an extractant: the portion's own water adds to its volume."
    )
    digest_life_h = models.FloatField(null=True, blank=True, help_text="How long a test solution may wait, h.")
    button_low_g = models.FloatField(null=True, blank=True, help_text="Lightest lead button of a fire assay, g.")
    button_high_g = models.FloatField(null=True, blank=True, help_text="Heaviest lead button of a fire assay, g.")
    drift_rule = word(DriftRule, default=DriftRule.NONE)
    drift_limit_percent = models.FloatField(
        null=True, blank=True, help_text="A drift beyond it is not corrected: the check has failed, %."
    )
    lines_agree_percent = models.FloatField(
        null=True, blank=True, help_text="Largest relative difference of two lines of one element that is not shown, %."
    )
    by_additions = models.BooleanField(default=False, help_text="Samples are calibrated by standard additions.")
    uncertainty_rule = word(UncertaintyRule, default=UncertaintyRule.STATED)
    u_mass_g = models.FloatField(null=True, blank=True, help_text="Standard uncertainty of a portion's mass, g.")
    u_volume_relative = models.FloatField(null=True, blank=True, help_text="Relative, of the volume made up to, 1.")
    u_dilution_relative = models.FloatField(null=True, blank=True, help_text="Relative, of each dilution, 1.")
    sequence_rules = models.JSONField(
        default=list, blank=True, help_text="[rule, value] pairs that a run list must keep, beside the control samples."
    )
    recalibrate_every = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="A new calibration block begins after so many test solutions."
    )
    is_plasma = models.BooleanField(default=True)
    is_external = models.BooleanField(default=False, help_text="Done by another laboratory: marked on certificates.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["method", "version"], name="method_version_once"),
            one_of("solution_kind", SolutionKind, "method_solution_kind"),
            one_of("blank_rule", BlankRule, "method_blank_rule"),
            models.CheckConstraint(condition=Q(solution_unit__in=["mg/L", "mg/kg"]), name="method_solution_unit"),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="method_period"
            ),
            models.CheckConstraint(
                condition=Q(mass_low_g__isnull=True) | Q(mass_low_g__gt=0, mass_high_g__gte=F("mass_low_g")),
                name="method_mass_window",
            ),
            above_zero("volume_mL", "method_volume_above_zero"),
            one_of("drift_rule", DriftRule, "method_drift_rule"),
            one_of("uncertainty_rule", UncertaintyRule, "method_uncertainty_rule"),
            above_zero("drift_limit_percent", "method_drift_limit_above_zero"),
            above_zero("lines_agree_percent", "method_lines_agree_above_zero"),
            models.CheckConstraint(
                condition=Q(drift_rule=DriftRule.NONE) | Q(drift_limit_percent__isnull=False),
                name="method_drift_has_limit",
            ),
            models.CheckConstraint(condition=Q(batch_size__gte=1), name="method_batch_size"),
            models.CheckConstraint(condition=Q(coverage_factor__gt=0), name="method_coverage_factor"),
        ]

    def __str__(self) -> str:
        return f"{self.method.code} v{self.version}"


class MethodLine(models.Model):
    """A line as a method version uses it; limits and range in the version's solution unit."""

    method_version = models.ForeignKey(MethodVersion, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")
    rank = models.PositiveSmallIntegerField(help_text="1 is reported when its checks hold.")
    curve = word(Curve)
    weighting = word(Weighting)
    range_top = models.FloatField(help_text="Top of the working range, solution unit.")
    detection_limit = models.FloatField(help_text="Solution unit.")
    quantification_limit = models.FloatField(help_text="Solution unit.")
    u_floor = models.FloatField(help_text="Standard uncertainty near zero, solution unit.")
    u_relative = models.FloatField(help_text="Relative standard uncertainty well above the limit, 1.")
    interferences = models.JSONField(default=dict, help_text="Element to apparent solution units per solution unit.")
    fit_on = word(FitOn, default=FitOn.MEANS)
    carry_over = models.FloatField(
        null=True, blank=True, help_text="Share of a reading that may still be seen at the next position, 1."
    )
    u_precision = models.FloatField(null=True, blank=True, help_text="Relative, of work done again on other days, 1.")
    u_bias = models.FloatField(null=True, blank=True, help_text="Relative, of the bias against certified values, 1.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["method_version", "line"], name="method_line_once"),
            one_of("curve", Curve, "method_line_curve"),
            one_of("weighting", Weighting, "method_line_weighting"),
            models.CheckConstraint(
                condition=Q(
                    detection_limit__gt=0,
                    quantification_limit__gte=F("detection_limit"),
                    range_top__gt=F("quantification_limit"),
                ),
                name="method_line_limits_in_order",
            ),
            not_below_zero("u_floor", "method_line_u_floor"),
            not_below_zero("u_relative", "method_line_u_relative"),
            one_of("fit_on", FitOn, "method_line_fit_on"),
            above_zero("carry_over", "method_line_carry_over"),
            not_below_zero("u_precision", "method_line_u_precision"),
            not_below_zero("u_bias", "method_line_u_bias"),
        ]


class Determination(models.Model):
    """What a method version reports of an element, and in which unit."""

    method_version = models.ForeignKey(MethodVersion, on_delete=models.PROTECT, related_name="determinations")
    element = models.ForeignKey(Element, on_delete=models.PROTECT, related_name="+")
    ordinal = models.PositiveSmallIntegerField()
    reported_as = models.CharField(max_length=12, help_text="The element, or a compound such as Al2O3.")
    unit = models.CharField(max_length=20)
    reporting_limit = models.FloatField(null=True, blank=True, help_text="In the unit beside it.")
    ore_grade_above = models.FloatField(
        null=True, blank=True, help_text="In the unit beside it: above it the ore-grade method is to be asked for."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["method_version", "element"], name="determination_once"),
            above_zero("reporting_limit", "reporting_limit_above_zero"),
            above_zero("ore_grade_above", "ore_grade_above_zero"),
        ]


class Criterion(models.Model):
    """How control samples of a role are judged, what a failure reaches, and what clears it."""

    method_version = models.ForeignKey(MethodVersion, on_delete=models.PROTECT, related_name="criteria")
    role = word(Role)
    element = models.ForeignKey(Element, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    measure = word(Measure)
    low = models.FloatField(null=True, blank=True, help_text="In the unit of the measure; the bound is included.")
    high = models.FloatField(null=True, blank=True, help_text="In the unit of the measure; the bound is included.")
    reach = word(Reach)
    remedy = models.TextField()
    spares_times_blank = models.FloatField(
        null=True, blank=True, help_text="Results at or above this many times a failed blank are spared, 1."
    )
    near_limit_times = models.FloatField(
        null=True, blank=True, help_text="A mean under so many quantification limits is judged by the next bound, 1."
    )
    near_limit_high = models.FloatField(
        null=True, blank=True, help_text="Largest absolute difference there, in quantification limits, 1."
    )
    least_share = models.FloatField(
        null=True, blank=True, help_text="A spike is judged from this share of what the sample holds on, 1."
    )
    least_times = models.FloatField(
        null=True, blank=True, help_text="Readings are judged from so many quantification limits on, 1."
    )
    source = models.CharField(max_length=200, help_text="Standard and section, or: common practice, no source.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["method_version", "role", "element", "measure"], name="criterion_once_an_element"
            ),
            models.UniqueConstraint(
                fields=["method_version", "role", "measure"], condition=Q(element__isnull=True), name="criterion_once"
            ),
            one_of("role", Role, "criterion_role"),
            one_of("measure", Measure, "criterion_measure"),
            one_of("reach", Reach, "criterion_reach"),
            models.CheckConstraint(condition=Q(low__isnull=False) | Q(high__isnull=False), name="criterion_bound"),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")), name="criterion_order"
            ),
        ]


class PlannedStandard(models.Model):
    """A calibration blank or standard that the method version asks for, lowest first."""

    method_version = models.ForeignKey(MethodVersion, on_delete=models.PROTECT, related_name="standards")
    ordinal = models.PositiveSmallIntegerField()
    material = models.ForeignKey("labresults.Material", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["method_version", "ordinal"], name="planned_standard_once")]


class PlannedControl(models.Model):
    """A control sample that the method version asks for, and where it stands.

    `in_batch`: prepared with each batch (method blank, reference material, duplicate, spike); else put into the run:
    at its start, after every so many test solutions, at its end.
    """

    method_version = models.ForeignKey(MethodVersion, on_delete=models.PROTECT, related_name="controls")
    ordinal = models.PositiveSmallIntegerField()
    role = word(Role)
    material = models.ForeignKey(
        "labresults.Material", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    in_batch = models.BooleanField(default=False)
    at_start = models.BooleanField(default=False)
    every = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="One for so many: test solutions in a run, samples in a batch."
    )
    at_end = models.BooleanField(default=False)
    at_least = models.PositiveSmallIntegerField(default=1, help_text="In a batch, however small it is.")
    placing = word(Placing, default=Placing.START, help_text="Where it stands in a batch.")
    spike_mL = models.FloatField(null=True, blank=True, help_text="Volume of the spiking solution added, mL.")
    made_up_mL = models.FloatField(null=True, blank=True, help_text="Volume after an addition at the instrument, mL.")
    dilution = models.FloatField(null=True, blank=True, help_text="Factor of a serial dilution.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["method_version", "ordinal"], name="planned_control_once"),
            one_of("role", Role, "planned_control_role"),
            one_of("placing", Placing, "planned_control_placing"),
            models.CheckConstraint(
                condition=Q(in_batch=True) | Q(at_start=True) | Q(at_end=True) | Q(every__isnull=False),
                name="planned_control_place",
            ),
        ]


class Scope(models.Model):
    """What the laboratory is accredited for: results outside it are marked, and no symbol is printed inside none."""

    method = models.ForeignKey(Method, on_delete=models.PROTECT, related_name="scope")
    element = models.ForeignKey(Element, on_delete=models.PROTECT, related_name="+")
    matrix = models.ForeignKey("labresults.Matrix", on_delete=models.PROTECT, related_name="+")
    low = models.FloatField(help_text="In the unit beside it.")
    high = models.FloatField(help_text="In the unit beside it.")
    unit = models.CharField(max_length=20)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["method", "element", "matrix", "valid_from"], name="scope_once"),
            models.CheckConstraint(condition=Q(high__gt=F("low")), name="scope_range"),
        ]


class Layout(Made):
    """A saved layout of files: which column says what. Newer versions stand beside older ones."""

    name = models.CharField(max_length=60)
    reads = models.CharField(
        max_length=12, choices=[("readings", "readings"), ("weighings", "weighings")], default="readings"
    )
    version = models.PositiveSmallIntegerField(default=1)
    specification = models.TextField(help_text="As `labresults.readers.layout.Layout` writes it.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["name", "version"], name="layout_version_once"),
            models.CheckConstraint(condition=Q(reads__in=["readings", "weighings"]), name="layout_reads"),
        ]

    def __str__(self) -> str:
        return f"{self.name} v{self.version}"
