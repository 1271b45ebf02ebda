"""Lots and equipment as lists."""

from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import Column

from labresults.models import Equipment
from labresults.templatetags.quantities import day_of_year, things
from labresults.web.tables.ledger import DayColumn, Ledger, number_column

_SOON_DAYS = 14


class LotTable(Ledger):
    """Lots of standards, reference materials and reagents."""

    number = number_column("lot", "number", "number", verbose_name="Lot")
    material = Column(accessor="material__name", verbose_name="Material")
    kind = Column(accessor="material__kind", verbose_name="Kind")
    made_from = number_column("lot", "made_from__number", "number", verbose_name="Made from", default="")
    received_on = DayColumn(verbose_name="Received or made")
    expires_on = DayColumn(verbose_name="Expires")

    def render_expires_on(self, value: date) -> SafeString:
        return until(value, "expired")


class EquipmentTable(Ledger):
    """Balances, instruments, pipettes and ovens, and when each must be checked again."""

    code = number_column("equipment-item", "code", "code", verbose_name="Code")
    name = Column(verbose_name="What it is")
    kind = Column(verbose_name="Kind")
    done_on = DayColumn(verbose_name="Last checked", default="never")
    due_on = DayColumn(verbose_name="Due", default="")

    def render_due_on(self, value: date, record: Equipment) -> SafeString:
        if not record.passed:
            return format_html('{} <span class="tag fail">failed its check</span>', day_of_year(value))
        return until(value, "overdue")


def until(value: date, word: str) -> SafeString:
    """A day with a tag when it is past, or near."""
    days: Any = (value - timezone.localdate()).days
    if days < 0:
        return format_html('{} <span class="tag fail">{}</span>', day_of_year(value), word)
    if days <= _SOON_DAYS:
        soon = f"in {things(days, 'day')}" if days else "today"
        return format_html('{} <span class="tag care">{}</span>', day_of_year(value), soon)
    return format_html("{}", day_of_year(value))
