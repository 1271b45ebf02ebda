"""Certificates as issued, what is printed on them, and the rules that were used. Insert only."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made, one_of, word
from labresults.terms import NoticeKind

FILE_KINDS = ["pdf", "xlsx", "csv", "long", "json"]
"""What a certificate is issued as: `csv` has a row a sample, `long` a row a result."""


class RuleSetVersion(Made):
    """A named, versioned choice of reporting rules, as `reports.rules.ruleset.RuleSet` writes it."""

    name = models.CharField(max_length=60)
    version = models.PositiveSmallIntegerField()
    specification = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["name", "version"], name="rule_set_version_once")]

    def __str__(self) -> str:
        return f"{self.name} v{self.version}"


class Certificate(Made):
    """One issue of a certificate: the whole document frozen, before it is drawn."""

    number = models.CharField(max_length=20)
    issue = models.PositiveSmallIntegerField()
    submission = models.ForeignKey("labresults.Submission", on_delete=models.PROTECT, related_name="certificates")
    rule_set = models.ForeignKey(RuleSetVersion, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")
    reason = models.TextField(blank=True)
    document = models.TextField(help_text="Canonical text of `reports.document.CertificateDocument`.")
    document_sha256 = models.CharField(max_length=64)
    chain_head = models.CharField(max_length=64)
    check_code = models.CharField(max_length=12, unique=True)
    preliminary = models.BooleanField(default=False)
    form_key = models.CharField(
        max_length=40, null=True, blank=True, unique=True, help_text="Keeps one form from issuing twice."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["number", "issue"], name="certificate_issue_once"),
            models.CheckConstraint(
                condition=Q(issue=1, replaces__isnull=True) | (Q(issue__gt=1, replaces__isnull=False) & ~Q(reason="")),
                name="amendment_names_what_it_replaces",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}, issue {self.issue}"


class CertificateLine(models.Model):
    """One printed number and the result behind it: the way back."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="lines")
    result = models.ForeignKey("labresults.Result", null=True, on_delete=models.PROTECT, related_name="printed")
    sample = models.ForeignKey("labresults.Sample", null=True, on_delete=models.PROTECT, related_name="+")
    sample_set = models.ForeignKey("labresults.SampleSet", null=True, on_delete=models.PROTECT, related_name="+")
    derived = models.ForeignKey(
        "labresults.DerivedDefinition", null=True, on_delete=models.PROTECT, related_name="printed"
    )
    value = models.FloatField(null=True, help_text="Unrounded, in the unit beside it; empty for words.")
    u = models.FloatField(null=True, help_text="Standard uncertainty, same unit; of derived results.")
    column = models.CharField(max_length=40)
    printed = models.CharField(max_length=60)
    unit = models.CharField(max_length=20)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["certificate", "sample", "column"], name="printed_once"),
            models.CheckConstraint(
                condition=Q(sample__isnull=False, sample_set__isnull=True)
                | Q(sample__isnull=True, sample_set__isnull=False),
                name="printed_of_sample_or_set",
            ),
        ]


class CertificateInput(models.Model):
    """A result that a printed derived result was computed from."""

    line = models.ForeignKey(CertificateLine, on_delete=models.PROTECT, related_name="inputs")
    result = models.ForeignKey("labresults.Result", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["line", "result"], name="input_once")]


class CertificateSubmission(models.Model):
    """A submission whose results stand on a combined certificate, besides the certificate's own."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="further")
    submission = models.ForeignKey("labresults.Submission", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["certificate", "submission"], name="combined_once")]


class CertificateEvidence(models.Model):
    """What every row of one table that a certificate stands on looked like when it was issued."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="evidence")
    table = models.CharField(max_length=60)
    rows = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64, help_text="Of the digests below.")
    digests = models.BinaryField(help_text="Compressed: key and the first eight bytes of its SHA-256, row by row.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["certificate", "table"], name="evidence_once")]


class CertificateFile(Made):
    """The bytes that went out."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="files")
    kind = models.CharField(max_length=4, choices=[(kind, kind) for kind in FILE_KINDS])
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["certificate", "kind"], name="certificate_file_once"),
            models.CheckConstraint(condition=Q(kind__in=FILE_KINDS), name="certificate_file_kind"),
        ]


class Withdrawal(Made):
    """A certificate taken back, in the open."""

    certificate = models.OneToOneField(Certificate, on_delete=models.PROTECT, related_name="withdrawal")
    reason = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="withdrawal_reason")]


class RuleSetChoice(Made):
    """Which rule set is used: for a submission, else its client, else a method, else everywhere. The newest stands."""

    rule_set_name = models.CharField(max_length=60)
    submission = models.ForeignKey(
        "labresults.Submission", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    client = models.ForeignKey("labresults.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    method = models.ForeignKey("labresults.Method", null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(submission__isnull=True, client__isnull=True)
                | Q(submission__isnull=True, method__isnull=True)
                | Q(client__isnull=True, method__isnull=True),
                name="rule_set_chosen_for_one",
            )
        ]


class SigningCertificate(Made):
    """The public half of a key that the laboratory signs with; the key itself is never in the database."""

    pem = models.TextField()
    sha256 = models.CharField(max_length=64, unique=True, help_text="Fingerprint of the certificate.")
    subject = models.CharField(max_length=200)
    valid_from = models.DateTimeField()
    valid_to = models.DateTimeField()


class SigningCertificateEnd(Made):
    """From now on nothing is signed with it; what was signed before stays valid unless it says compromised."""

    certificate = models.OneToOneField(SigningCertificate, on_delete=models.PROTECT, related_name="end")
    is_compromised = models.BooleanField(default=False)
    reason = models.TextField()


class DeliveryLayout(Made):
    """How a client wants a file of results laid out, as agreed. Of one name and client the newest row stands."""

    client = models.ForeignKey("labresults.Client", on_delete=models.PROTECT, related_name="delivery_layouts")
    name = models.CharField(max_length=60)
    specification = models.TextField(help_text="As `reports.delivery.DeliveryLayout` writes it.")
    agreed = models.TextField(blank=True, help_text="The written request for what is not the laboratory's own way.")
    is_active = models.BooleanField(default=True)


class Recipient(Made):
    """Who of a client gets which documents. Of one client and address the newest row stands."""

    client = models.ForeignKey("labresults.Client", on_delete=models.PROTECT, related_name="recipients")
    name = models.CharField(max_length=200)
    email = models.EmailField()
    documents = models.JSONField(default=list, help_text="Kinds of files, or names of layouts.")
    is_active = models.BooleanField(default=True)


class Notice(Made):
    """That a client was told of a certificate, at one address."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="notices")
    kind = word(NoticeKind)
    work = models.ForeignKey(
        "labresults.NonconformingWork", null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    name = models.CharField(max_length=200)
    email = models.CharField(max_length=254, blank=True, help_text="Empty: told on the portal only.")
    trouble = models.TextField(blank=True, help_text="Why the message could not be sent; empty: it was handed over.")
    words = models.TextField(blank=True, default="", help_text="What this client was told of nonconforming work.")

    class Meta:
        constraints = [one_of("kind", NoticeKind, "notice_kind")]


class CertificateFetch(Made):
    """That a person of the client fetched a file: who has it, and which issue."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="fetches")
    kind = models.CharField(max_length=4)
