"""The audit trail: append only, kept so by the database itself (labresults.guards)."""

from django.db import models
from django.db.models import Q


class AuditEvent(models.Model):
    """One act. `content` is the canonical text that was hashed; the other columns are for finding it."""

    seq = models.PositiveBigIntegerField(primary_key=True)
    at = models.DateTimeField()
    person = models.ForeignKey("labresults.Person", on_delete=models.PROTECT, related_name="+")
    act = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=100)
    content = models.TextField()
    previous = models.CharField(max_length=64, unique=True)
    sha256 = models.CharField(max_length=64, unique=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(seq__gte=1), name="audit_counts_from_one")]
        indexes = [
            models.Index(fields=["subject_kind", "subject"], name="audit_by_subject"),
            models.Index(fields=["act", "-seq"], name="audit_by_act"),
            models.Index(fields=["person", "-seq"], name="audit_by_person"),
        ]
