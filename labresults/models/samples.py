"""Clients, what they deliver and ask for, and what becomes of a sample before it is weighed out."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, above_zero, one_of, word
from labresults.terms import Basis, NotMeasured, SubsampleKind


class Client(models.Model):
    """Who delivers samples and receives certificates."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=200, unique=True)
    address = models.TextField(blank=True)
    contact = models.CharField(max_length=200, blank=True)
    email = models.EmailField(blank=True)

    def __str__(self) -> str:
        return self.name


class Matrix(models.Model):
    """The material apart from what is measured: the words that this laboratory knows."""

    name = models.CharField(max_length=60, unique=True)
    area = models.CharField(max_length=60)

    def __str__(self) -> str:
        return self.name


class LimitSet(models.Model):
    """Limits that results are compared with, one edition of one source."""

    name = models.CharField(max_length=200)
    edition = models.CharField(max_length=60)
    source = models.TextField()
    basis = word(Basis, default=Basis.AS_RECEIVED, help_text="What the limits are on; another basis is not compared.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["name", "edition"], name="one_limit_set_an_edition"),
            one_of("basis", Basis, "limit_set_basis"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.edition}"


class Limit(models.Model):
    """An upper limit for one element."""

    limit_set = models.ForeignKey(LimitSet, on_delete=models.PROTECT, related_name="limits")
    element = models.ForeignKey("labresults.Element", on_delete=models.PROTECT, related_name="+")
    value = models.FloatField(help_text="In the unit beside it.")
    unit = models.CharField(max_length=20)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["limit_set", "element"], name="one_limit_an_element"),
            above_zero("value", "limit_above_zero"),
        ]


class Submission(models.Model):
    """One delivery: what the client gets back together."""

    number = models.CharField(max_length=20, unique=True)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="submissions")
    reference = models.CharField(max_length=200, blank=True, help_text="The client's own order or reference.")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    condition = models.TextField(blank=True, help_text="Condition of the whole delivery on receipt.")
    sampling = models.TextField(blank=True, help_text="Who sampled, by which plan, as the client says.")

    class Meta:
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

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["submission", "client_identification"], name="identification_once"),
            models.UniqueConstraint(fields=["submission", "ordinal"], name="sample_ordinal_once"),
            models.CheckConstraint(condition=~Q(client_identification=""), name="identification_given"),
            above_zero("delivered_g", "delivered_g_above_zero"),
            above_zero("delivered_mL", "delivered_mL_above_zero"),
            above_zero("density_kg_per_L", "density_above_zero"),
        ]

    def __str__(self) -> str:
        return self.number


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
    """Who had a sample from when, and where."""

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="custody")
    held_by = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    place = models.CharField(max_length=100)
    since = models.DateTimeField()
