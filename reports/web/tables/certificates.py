"""Certificates as a list."""

from typing import Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import Column

from labresults.web.tables.ledger import DayColumn, Ledger, number_column


class CertificateTable(Ledger):
    """What was issued to whom, and whether it is in force."""

    number = Column(verbose_name="Certificate", attrs={"td": {"class": "nowrap"}})
    submission = number_column("submission", "submission__number", "number", verbose_name="Submission")
    client = Column(accessor="submission__client__name", verbose_name="Client")
    made_at = DayColumn(verbose_name="Issued")
    made_by = Column(verbose_name="By", order_by=("made_by__last_name",))
    state = Column(empty_values=(), orderable=False, verbose_name="State")

    class Meta:
        order_by = ("-made_at",)

    def render_number(self, value: str, record: Any) -> SafeString:
        page = reverse("certificate", args=[record.number, record.issue])
        return format_html('<a class="id" href="{}">{}</a>, issue {}', page, value, record.issue)

    def render_state(self, record: Any) -> SafeString:
        return format_html('<span class="tag{}">{}</span>', *state_of(record))


def state_of(record: Any) -> tuple[str, str]:
    """Class and word of the state of one issue."""
    if hasattr(record, "withdrawal"):
        return " fail", "withdrawn"
    if hasattr(record, "replaced_by"):
        return "", f"replaced by issue {record.replaced_by.issue}"
    if not record.is_drawn:
        return " care", "not drawn yet"
    return (" care", "preliminary") if record.preliminary else ("", "in force")
