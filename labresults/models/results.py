"""Evaluations and what comes of them: curves, judged control samples, results, selections, reviews. Insert only."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, one_of, word
from labresults.terms import (
    Basis,
    Curve,
    Decision,
    FitOn,
    Measure,
    PlausibilityKind,
    Reach,
    Station,
    Verdict,
    Weighting,
)


class Evaluation(Made):
    """One evaluation of one run: a version beside the older ones."""

    run = models.ForeignKey("labresults.Run", on_delete=models.PROTECT, related_name="evaluations")
    version = models.PositiveSmallIntegerField()
    inputs_sha256 = models.CharField(max_length=64)
    outputs_sha256 = models.CharField(max_length=64)
    software = models.CharField(max_length=40)
    platform = models.CharField(max_length=100, help_text="Where the numbers are the same bit for bit.")
    last_weighing = models.PositiveBigIntegerField(help_text="Newest weighing that it could see.")
    last_request = models.PositiveBigIntegerField(help_text="Newest request that it could see: it says the basis.")
    last_mass_loss = models.PositiveBigIntegerField(default=0, help_text="Newest drying that it could see.")
    last_fire_charge = models.PositiveBigIntegerField(default=0, help_text="Newest crucible that it could see.")
    left_out = models.JSONField(default=list, help_text="[position number, line] pairs left out of the curve.")
    rules = models.PositiveSmallIntegerField(
        default=1, help_text="Edition of the rules of evaluation that were in force: computed again by the same."
    )
    counted = models.JSONField(
        default=dict, help_text="Measure to how many readings were judged, where only failures are kept as rows."
    )
    repeats = models.JSONField(
        default=list,
        help_text="[position, line, cause, kind, factor, why] of each proposed repeat: the cause is on record first.",
    )
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "version"], name="evaluation_version_once")]


class Calibration(models.Model):
    """A fitted curve: signal = b0 + b1 c + b2 c², c in the solution unit, signals in the file's unit."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.PROTECT, related_name="calibrations")
    block = models.PositiveSmallIntegerField()
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    curve = word(Curve)
    weighting = word(Weighting)
    b0 = models.FloatField(null=True)
    b1 = models.FloatField(null=True)
    b2 = models.FloatField(null=True)
    se_b0 = models.FloatField(null=True)
    se_b1 = models.FloatField(null=True)
    se_b2 = models.FloatField(null=True)
    residual_sd = models.FloatField(null=True, help_text="Weighted, signal unit.")
    r = models.FloatField(null=True)
    count = models.PositiveSmallIntegerField()
    low = models.FloatField(null=True, help_text="Lowest standard in use, solution unit.")
    high = models.FloatField(null=True, help_text="Highest standard in use, solution unit.")
    points = models.JSONField(help_text="Position, concentration, signal, weight, read back, residual %, used.")
    fit_on = word(FitOn, default=FitOn.MEANS)
    bottom = models.FloatField(null=True, help_text="Lower end of the working range in use, solution unit.")
    top = models.FloatField(null=True, help_text="Upper end of the working range in use, solution unit.")
    standard_error_percent = models.FloatField(null=True, help_text="Relative standard error of the curve, %.")
    lowest_error_percent = models.FloatField(null=True, help_text="Read-back error at the lowest standard in use, %.")
    lack_of_fit_f = models.FloatField(null=True, help_text="F of lack of fit, 1; empty without replicates.")
    lack_of_fit_p = models.FloatField(null=True, help_text="Probability of so large an F, 1.")
    problem = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["evaluation", "block", "line"], name="calibration_once"),
            one_of("curve", Curve, "calibration_curve"),
            one_of("weighting", Weighting, "calibration_weighting"),
            one_of("fit_on", FitOn, "calibration_fit_on"),
            models.CheckConstraint(condition=Q(b1__isnull=False) | ~Q(problem=""), name="calibration_or_problem"),
        ]


class ControlOutcome(models.Model):
    """A control sample judged against a criterion at a line."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.PROTECT, related_name="outcomes")
    position = models.ForeignKey("labresults.Position", on_delete=models.PROTECT, related_name="outcomes")
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    criterion = models.ForeignKey("labresults.Criterion", on_delete=models.PROTECT, related_name="outcomes")
    measure = word(Measure)
    observed = models.FloatField(null=True, help_text="In the unit of the measure.")
    expected = models.FloatField(null=True, help_text="Solution or reporting unit, as the measure compares.")
    found = models.FloatField(null=True, help_text="In the measured solution, solution unit of the method version.")
    verdict = word(Verdict)
    reach = word(Reach)
    why = models.TextField()
    touches = models.JSONField(default=list, help_text="Position numbers of the results that stand on it.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["evaluation", "position", "line", "criterion"], name="outcome_once"),
            one_of("measure", Measure, "outcome_measure"),
            one_of("verdict", Verdict, "outcome_verdict"),
            one_of("reach", Reach, "outcome_reach"),
        ]

    @property
    def low(self) -> float | None:
        """The lower bound that it was judged by, in the unit of its measure."""
        return self.criterion.low if self.measure == self.criterion.measure else None

    @property
    def high(self) -> float | None:
        """The upper bound that it was judged by: near the quantification limit the criterion has one of its own."""
        criterion = self.criterion
        return criterion.high if self.measure == criterion.measure else criterion.near_limit_high


class Acceptance(Made):
    """A failed control sample accepted by name, with the reason: the results that it touched may stand."""

    outcome = models.OneToOneField(ControlOutcome, on_delete=models.PROTECT, related_name="acceptance")
    reason = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="acceptance_reason")]


class Result(models.Model):
    """One element at one position from one line, unrounded, in the unit beside it, with limits of its own."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.PROTECT, related_name="results")
    position = models.ForeignKey("labresults.Position", on_delete=models.PROTECT, related_name="results")
    line = models.ForeignKey("labresults.Line", on_delete=models.PROTECT, related_name="+")
    element = models.ForeignKey("labresults.Element", on_delete=models.PROTECT, related_name="+")
    sample = models.ForeignKey(
        "labresults.Sample",
        null=True,
        on_delete=models.PROTECT,
        related_name="results",
        help_text="Empty for control samples that are not a sample's.",
    )
    is_candidate = models.BooleanField(
        help_text="Of the sample itself; no: of its duplicate, spike or a control sample."
    )
    rank = models.PositiveSmallIntegerField()
    reported_as = models.CharField(max_length=12)
    unit = models.CharField(max_length=20)
    basis = word(Basis)
    value = models.FloatField(null=True, help_text="In the unit beside it.")
    detection_limit = models.FloatField(null=True, help_text="In the unit beside it.")
    quantification_limit = models.FloatField(null=True, help_text="In the unit beside it.")
    reporting_limit = models.FloatField(null=True, help_text="In the unit beside it.")
    upper_limit = models.FloatField(null=True, help_text="In the unit beside it.")
    u = models.FloatField(null=True, help_text="Standard uncertainty, same unit.")
    u_reading = models.FloatField(
        null=True, help_text="Of it what the curve and the replicates say of the reading, same unit."
    )
    expanded_u = models.FloatField(null=True, help_text="Expanded uncertainty, same unit.")
    coverage_factor = models.FloatField()
    solution = models.FloatField(null=True, help_text="In the measured solution, solution unit of the method version.")
    marks = models.JSONField(default=list)
    why_no_value = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["evaluation", "position", "line"], name="result_once"),
            one_of("basis", Basis, "result_basis"),
            models.CheckConstraint(condition=Q(value__isnull=False) | ~Q(why_no_value=""), name="result_or_reason"),
            models.CheckConstraint(
                condition=Q(value__isnull=True)
                | Q(detection_limit__isnull=False, quantification_limit__isnull=False, upper_limit__isnull=False),
                name="result_has_limits",
            ),
        ]
        indexes = [models.Index(fields=["sample", "element"], name="result_by_sample")]


class Selection(Made):
    """The result that stands for an element in a sample by a method; the newest row counts. The rule is kept."""

    sample = models.ForeignKey("labresults.Sample", on_delete=models.PROTECT, related_name="selections")
    method = models.ForeignKey("labresults.Method", on_delete=models.PROTECT, related_name="+")
    element = models.ForeignKey("labresults.Element", on_delete=models.PROTECT, related_name="+")
    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="selections")
    rule = models.TextField()
    reason = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["sample", "method", "element", "-id"], name="selection_newest")]


class Review(Made):
    """A reviewer's decision, signed."""

    decision = word(Decision)
    meaning = models.CharField(max_length=100)
    reason = models.TextField(blank=True)
    exception = models.TextField(blank=True, help_text="The named policy under which a person reviewed own work.")
    values_sha256 = models.CharField(
        max_length=64, blank=True, help_text="Of the exact values that were signed; empty: signed before it was kept."
    )
    second_factor = models.BooleanField(default=False, help_text="A code of the second factor was given too.")
    sent_to = word(Station, blank=True, help_text="Where the work goes back to; empty: nowhere.")

    class Meta:
        constraints = [
            one_of("decision", Decision, "review_decision"),
            models.CheckConstraint(
                condition=Q(sent_to__in=["", Station.PREPARATION, Station.RUNS]), name="review_sent_to"
            ),
            models.CheckConstraint(condition=Q(decision=Decision.APPROVE) | ~Q(reason=""), name="review_reason"),
        ]


class ReviewedResult(models.Model):
    """A result that a review speaks of; the newest row counts."""

    review = models.ForeignKey(Review, on_delete=models.PROTECT, related_name="items")
    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="reviews")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["review", "result"], name="reviewed_once")]


class ResultComment(Made):
    """What a person of the laboratory remarked beside a result; it is not printed."""

    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="comments")
    text = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(text=""), name="result_comment_text")]


class PlausibilityRule(Made):
    """What must fit together in samples of a matrix. Of rules of one name the newest row stands; one may end it."""

    name = models.CharField(max_length=60)
    kind = word(PlausibilityKind)
    matrix = models.ForeignKey(
        "labresults.Matrix", null=True, blank=True, on_delete=models.PROTECT, related_name="+", help_text="Empty: any."
    )
    elements = models.JSONField(default=list, help_text="Symbols that it looks at, in order; empty: any.")
    low = models.FloatField(null=True, blank=True, help_text="Lowest that fits, in the unit of the kind.")
    high = models.FloatField(null=True, blank=True, help_text="Highest that fits, in the unit of the kind.")
    source = models.TextField(help_text="Where the bounds come from.")
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            one_of("kind", PlausibilityKind, "plausibility_kind"),
            models.CheckConstraint(condition=~Q(source=""), name="plausibility_source"),
        ]
        indexes = [models.Index(fields=["name", "-id"], name="plausibility_newest")]
