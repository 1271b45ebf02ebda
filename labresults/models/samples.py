"""Clients, what they deliver and ask for, and what becomes of a sample before it is weighed out."""

from django.db import models
from django.db.models import F, Q

from labresults.models.base import Made, above_zero, one_of, word
from labresults.terms import (
    Basis,
    Concern,
    Correction,
    Custody,
    DecisionRule,
    LimitSide,
    MassLossKind,
    NotMeasured,
    Seals,
    State,
    SubsampleKind,
)


class Client(models.Model):
    """Who delivers samples and receives certificates."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=200, unique=True)
    address = models.TextField(blank=True)
    contact = models.CharField(max_length=200, blank=True)
    email = models.EmailField(blank=True)
    kept_days = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Agreed; empty: as the laboratory.")
    ore_grade_consent = models.CharField(
        max_length=200, blank=True, help_text="Who agreed, for good, to ore-grade methods; empty: is asked each time."
    )

    def __str__(self) -> str:
        return self.name


class Matrix(models.Model):
    """The material apart from what is measured: the words that this laboratory knows."""

    name = models.CharField(max_length=60, unique=True)
    area = models.CharField(max_length=60)

    def __str__(self) -> str:
        return self.name

    @property
    def is_water(self) -> bool:
        """Whether preservation and filtration in the field matter."""
        return self.area.startswith("waters")


class LimitSet(models.Model):
    """Limits that results are compared with, one edition of one source."""

    name = models.CharField(max_length=200)
    edition = models.CharField(max_length=60)
    source = models.TextField()
    basis = word(Basis, default=Basis.AS_RECEIVED, help_text="What the limits are on; another basis is not compared.")
    decision_rule = word(DecisionRule, blank=True, help_text="Empty: as the rule set of the certificate says.")
    risk_percent = models.FloatField(null=True, blank=True, help_text="Accepted risk of a false statement, %.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["name", "edition"], name="one_limit_set_an_edition"),
            one_of("basis", Basis, "limit_set_basis"),
            models.CheckConstraint(
                condition=Q(decision_rule__in=["", *(rule.value for rule in DecisionRule)]), name="limit_set_rule"
            ),
            models.CheckConstraint(
                condition=Q(risk_percent__isnull=True) | Q(risk_percent__gt=0, risk_percent__lte=50),
                name="limit_set_risk",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.edition}"


class Limit(models.Model):
    """A limit for one element, or for one derived result by its code."""

    limit_set = models.ForeignKey(LimitSet, on_delete=models.PROTECT, related_name="limits")
    element = models.ForeignKey("labresults.Element", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    derived_code = models.SlugField(  # noqa: DJ001 - of a limit on an element there is none, and the key says so
        max_length=20, null=True, blank=True, help_text="Of a derived result, whatever the version of its definition."
    )
    value = models.FloatField(help_text="In the unit beside it.")
    unit = models.CharField(max_length=20)
    side = word(LimitSide, default=LimitSide.AT_MOST)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["limit_set", "element"], name="one_limit_an_element"),
            models.UniqueConstraint(fields=["limit_set", "derived_code"], name="one_limit_a_derived_result"),
            models.CheckConstraint(
                condition=Q(element__isnull=False, derived_code__isnull=True)
                | (Q(element__isnull=True, derived_code__isnull=False) & ~Q(derived_code="")),
                name="limit_of_element_or_derived",
            ),
            one_of("side", LimitSide, "limit_side"),
            above_zero("value", "limit_above_zero"),
        ]

    @property
    def of(self) -> str:
        """The symbol of its element, or the code of its derived result."""
        return self.element_id or self.derived_code or ""


class Submission(models.Model):
    """One delivery: what the client gets back together."""

    number = models.CharField(max_length=20, unique=True)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="submissions")
    reference = models.CharField(max_length=200, blank=True, help_text="The client's own order or reference.")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    condition = models.TextField(blank=True, help_text="Condition of the whole delivery on receipt.")
    sampling = models.TextField(blank=True, help_text="Who sampled, by which plan, as the client says.")
    seals = word(Seals, blank=True, help_text="Empty: nobody looked.")
    temperature_C = models.FloatField(null=True, blank=True, help_text="Of the delivery on receipt, °C.")
    kept_days = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Agreed; empty: as the client.")
    form_key = models.CharField(
        max_length=40, null=True, blank=True, unique=True, help_text="Keeps one form from being logged twice."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(seals="") | Q(seals__in=[seal.value for seal in Seals]), name="submission_seals"
            )
        ]
        indexes = [models.Index(fields=["client", "-received_at"], name="submission_by_client")]

    def __str__(self) -> str:
        return self.number


class Sample(models.Model):
    """What was delivered, under the client's own identification, kept to the letter."""

    number = models.CharField(max_length=20, unique=True)
    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="samples")
    ordinal = models.PositiveIntegerField()
    client_identification = models.CharField(max_length=200)
    matrix = models.ForeignKey(Matrix, on_delete=models.PROTECT, related_name="+")
    delivered_g = models.FloatField(null=True, blank=True, help_text="Mass delivered, g.")
    delivered_mL = models.FloatField(null=True, blank=True, help_text="Volume delivered, mL.")
    density_kg_per_L = models.FloatField(null=True, blank=True, help_text="Density as measured or stated, kg/L.")
    sampled_at = models.DateTimeField(null=True, blank=True, help_text="As the client says.")
    note = models.TextField(blank=True, help_text="Condition on arrival.")
    hazards = models.JSONField(default=list, blank=True, help_text="Words of `terms.Hazard`.")
    field_filtered = models.BooleanField(
        null=True, blank=True, help_text="Filtered where it was taken; empty: not said."
    )
    preservation = models.CharField(
        max_length=100, blank=True, help_text="As it arrived, for example nitric acid, pH 2."
    )
    acidified_at = models.DateTimeField(null=True, blank=True, help_text="Acidified in this laboratory on arrival.")
    struck_at = models.DateTimeField(null=True, blank=True, help_text="Struck from its submission, with a reason.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["submission", "client_identification"],
                condition=Q(struck_at__isnull=True),
                name="identification_once",
            ),
            models.UniqueConstraint(fields=["submission", "ordinal"], name="sample_ordinal_once"),
            models.CheckConstraint(condition=~Q(client_identification=""), name="identification_given"),
            above_zero("delivered_g", "delivered_g_above_zero"),
            above_zero("delivered_mL", "delivered_mL_above_zero"),
            above_zero("density_kg_per_L", "density_above_zero"),
        ]
        indexes = [
            models.Index(fields=["acidified_at"], condition=Q(acidified_at__isnull=False), name="sample_acidified")
        ]

    def __str__(self) -> str:
        return self.number


class SampleCorrection(Made):
    """What was corrected of a sample after it was logged: before, after and why. The sample shows what stands now."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="corrections")
    what = word(Correction)
    before = models.CharField(max_length=200, blank=True)
    after = models.CharField(max_length=200, blank=True)
    reason = models.TextField()

    class Meta:
        constraints = [
            one_of("what", Correction, "sample_correction_what"),
            models.CheckConstraint(condition=~Q(reason=""), name="sample_correction_reason"),
        ]


class Request(Made):
    """What is asked for, in versions: the newest one stands, the older ones stay."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="requests")
    version = models.PositiveSmallIntegerField()
    basis = word(Basis)
    due_on = models.DateField()
    limit_set = models.ForeignKey(LimitSet, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField(blank=True)
    agreed_with = models.CharField(max_length=200, blank=True, help_text="Who of the client agreed to a change.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["submission", "version"], name="request_version_once"),
            one_of("basis", Basis, "request_basis"),
        ]


class RequestedMethod(models.Model):
    """One method asked for, for the whole submission or for one sample."""

    request = models.ForeignKey(Request, on_delete=models.PROTECT, related_name="methods")
    method = models.ForeignKey("labresults.Method", on_delete=models.PROTECT, related_name="+")
    sample = models.ForeignKey(Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="requested")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["request", "method", "sample"], name="method_requested_once"),
            models.UniqueConstraint(
                fields=["request", "method"], condition=Q(sample__isnull=True), name="method_requested_once_for_all"
            ),
        ]


class RequestedTerms(models.Model):
    """Basis and limits of one sample, where they differ from those of the submission."""

    request = models.ForeignKey(Request, on_delete=models.PROTECT, related_name="terms")
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="+")
    basis = word(Basis)
    limit_set = models.ForeignKey(LimitSet, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["request", "sample"], name="terms_once_a_sample"),
            one_of("basis", Basis, "requested_terms_basis"),
        ]


class RequestConcern(Made):
    """What the review of the request found and a person accepted, with the reason (ISO/IEC 17025:2017, 7.1)."""

    request = models.ForeignKey(Request, on_delete=models.PROTECT, related_name="concerns")
    sample = models.ForeignKey(Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="concerns")
    method = models.ForeignKey("labresults.Method", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    what = word(Concern)
    words = models.TextField(help_text="What was found, with the figures.")
    reason = models.TextField()
    tell_client = models.BooleanField(help_text="The certificate says it.")

    class Meta:
        constraints = [
            one_of("what", Concern, "request_concern_what"),
            models.CheckConstraint(condition=~Q(reason=""), name="request_concern_reason"),
        ]


class UsualRequest(Made):
    """What a client usually asks for. The newest row stands; one without methods forgets."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="usual_requests")
    methods = models.ManyToManyField("labresults.Method", related_name="+")
    basis = word(Basis)
    limit_set = models.ForeignKey(LimitSet, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [one_of("basis", Basis, "usual_request_basis")]


class HoldingTime(Made):
    """How long after sampling an element of a matrix may wait for its measurement. The newest row stands."""

    matrix = models.ForeignKey(Matrix, on_delete=models.PROTECT, related_name="holding_times")
    element = models.ForeignKey(
        "labresults.Element",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty: every element that has no row of its own.",
    )
    hours = models.FloatField(help_text="From sampling to measurement, h.")
    source = models.CharField(max_length=200, help_text="Standard and table, or: common practice, no source.")

    class Meta:
        constraints = [
            above_zero("hours", "holding_time_above_zero"),
            models.CheckConstraint(condition=~Q(source=""), name="holding_time_source"),
        ]


class NotMeasuredResult(Made):
    """A result in words: delivered work with a reason, for one sample and method (one element, or all)."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="not_measured")
    method = models.ForeignKey("labresults.Method", on_delete=models.PROTECT, related_name="+")
    element = models.ForeignKey("labresults.Element", null=True, on_delete=models.PROTECT, related_name="+")
    word = word(NotMeasured)
    reason = models.TextField()

    class Meta:
        constraints = [
            one_of("word", NotMeasured, "not_measured_word"),
            models.CheckConstraint(condition=~Q(reason=""), name="not_measured_reason"),
        ]


class Subsample(Made):
    """A node of the tree from the container to the pulp. Test portions hang on a node."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="subsamples")
    parent = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="parts")
    kind = word(SubsampleKind)
    mass_g = models.FloatField(null=True, blank=True, help_text="g")
    passing_percent = models.FloatField(null=True, blank=True, help_text="Passing the sieve, % of mass.")
    sieve_um = models.FloatField(null=True, blank=True, help_text="µm")
    equipment = models.ForeignKey(
        "labresults.Equipment", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    storage = models.CharField(max_length=100, blank=True)

    class Meta:
        constraints = [
            one_of("kind", SubsampleKind, "subsample_kind"),
            above_zero("mass_g", "subsample_mass_above_zero"),
            above_zero("sieve_um", "subsample_sieve_above_zero"),
            models.CheckConstraint(
                condition=Q(passing_percent__isnull=True) | Q(passing_percent__gte=0, passing_percent__lte=100),
                name="subsample_passing_percent",
            ),
        ]


class CustodyEntry(Made):
    """Who had a sample from when, and where; until the next entry."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="custody")
    held_by = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    place = models.CharField(max_length=100)
    since = models.DateTimeField()
    what = word(Custody, default=Custody.RECEIVED)
    taken_by = models.CharField(
        max_length=200, blank=True, help_text="Who took it from the laboratory: of the client, or for disposal."
    )
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [one_of("what", Custody, "custody_what")]


class StoredFile(models.Model):
    """The bytes of a photograph or document, once, by their SHA-256."""

    sha256 = models.CharField(max_length=64, unique=True)
    media_type = models.CharField(max_length=60)
    size = models.PositiveIntegerField(help_text="bytes")
    content = models.BinaryField()


class Attachment(Made):
    """A photograph or document of a delivery or of one sample."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="attachments")
    sample = models.ForeignKey(Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="attachments")
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="attachments")
    name = models.CharField(max_length=200, help_text="As the file was called.")
    words = models.CharField(max_length=200, blank=True, help_text="What it shows.")


class MassLoss(Made):
    """Moisture or loss on ignition by weighing: a technical record. A correction is a newer row with a reason.

    Masses are with the dish, g; `loss_percent` is of the material as it was put into the dish.
    """

    subsample = models.ForeignKey(Subsample, on_delete=models.PROTECT, related_name="mass_losses")
    kind = word(MassLossKind)
    version = models.PositiveSmallIntegerField()
    observed_at = models.DateTimeField(help_text="When it was read; `made_at` is when it was entered.")
    state = word(State, help_text="State of the material that was put into the dish.")
    tare_g = models.FloatField(help_text="Empty dish, g.")
    before_g = models.FloatField(help_text="Dish and material before heating, g.")
    after_g = models.FloatField(help_text="Dish and material after heating, g.")
    again_g = models.FloatField(null=True, blank=True, help_text="Heated and weighed again, g.")
    temperature_C = models.FloatField(help_text="°C")
    loss_percent = models.FloatField(help_text="Of the mass before heating, %.")
    oven = models.ForeignKey("labresults.Equipment", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    balance = models.ForeignKey(
        "labresults.Equipment", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    balance_check = models.ForeignKey(
        "labresults.EquipmentCheck", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["subsample", "kind", "version"], name="mass_loss_version_once"),
            one_of("kind", MassLossKind, "mass_loss_kind"),
            one_of("state", State, "mass_loss_state"),
            models.CheckConstraint(
                condition=Q(tare_g__gte=0, before_g__gt=F("tare_g"), after_g__gte=F("tare_g")), name="mass_loss_masses"
            ),
        ]


class SamplingRecord(Made):
    """How samples were taken, where the laboratory took them itself (ISO/IEC 17025:2017, 7.8.5). The newest stands."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="sampling_records")
    sample = models.ForeignKey(
        Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="sampling_records",
        help_text="Empty: every sample of the submission.",
    )  # fmt: skip
    sampled_by = models.CharField(max_length=200)
    place = models.TextField(help_text="Where, with drawings or photographs by name.")
    plan = models.TextField(help_text="Plan and method of sampling.")
    conditions = models.TextField(blank=True, help_text="Conditions at the place that bear on the results.")
    uncertainty = models.TextField(blank=True, help_text="What is needed to estimate the uncertainty of sampling.")


class Opinion(Made):
    """An opinion or interpretation (ISO/IEC 17025:2017, 7.8.7), by a person authorised for it. The newest stands."""

    submission = models.ForeignKey(Submission, on_delete=models.PROTECT, related_name="opinions")
    sample = models.ForeignKey(Sample, null=True, blank=True, on_delete=models.PROTECT, related_name="opinions")
    text = models.TextField(help_text="Empty: nothing is said any more.", blank=True)
    basis = models.TextField(help_text="What it stands on.")
