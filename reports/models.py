"""Certificates as issued, what is printed on them, and the rules that were used. Insert only."""

from django.db import models
from django.db.models import Q

from labresults.models.base import Made


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
    sample = models.ForeignKey("labresults.Sample", on_delete=models.PROTECT, related_name="+")
    column = models.CharField(max_length=40)
    printed = models.CharField(max_length=60)
    unit = models.CharField(max_length=20)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["certificate", "sample", "column"], name="printed_once")]


class CertificateFile(Made):
    """The bytes that went out."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="files")
    kind = models.CharField(max_length=4, choices=[("pdf", "pdf"), ("xlsx", "xlsx")])
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["certificate", "kind"], name="certificate_file_once"),
            models.CheckConstraint(condition=Q(kind__in=["pdf", "xlsx"]), name="certificate_file_kind"),
        ]


class Withdrawal(Made):
    """A certificate taken back, in the open."""

    certificate = models.OneToOneField(Certificate, on_delete=models.PROTECT, related_name="withdrawal")
    reason = models.TextField()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="withdrawal_reason")]
