"""Runs as a list."""

from typing import Any

from django.db.models import QuerySet
from django_tables2 import Column

from labresults.web.tables.ledger import DayColumn, Ledger, number_column


class RunTable(Ledger):
    """What was measured when, by which method, and how far it has come."""

    number = number_column("run", "number", "number", verbose_name="Run")
    method = Column(
        accessor="method_version", verbose_name="Method", order_by=("method_version__method__code", "method_version")
    )
    instrument = Column(accessor="instrument__code", verbose_name="Instrument")
    made_at = DayColumn(verbose_name="Planned")
    made_by = Column(verbose_name="By", order_by=("made_by__last_name",))
    positions = Column(accessor="position_count", verbose_name="Positions", attrs={"td": {"class": "num"}})
    state = Column(accessor="evaluation_version", empty_values=(), verbose_name="State", orderable=False)

    class Meta:
        order_by = ("-made_at",)

    def render_state(self, record: Any) -> str:
        """Planned, replaced, measured or evaluated; how many failures are open."""
        if not record.has_readings:
            replaced_by = getattr(record, "replaced_by", None)
            return f"replaced by {replaced_by}" if replaced_by else "planned"
        if not record.evaluation_version:
            return "measured, not evaluated"
        if record.open_failures:
            return f"evaluation {record.evaluation_version}; {record.open_failures} failed"
        return f"evaluation {record.evaluation_version}"

    def order_made_by(self, rows: QuerySet[Any], is_descending: bool) -> tuple[QuerySet[Any], bool]:
        """By family name, then given name."""
        sign = "-" if is_descending else ""
        return rows.order_by(f"{sign}made_by__last_name", f"{sign}made_by__first_name"), True
