"""Nonconforming work as a list."""

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import Column

from labresults.models import NonconformingWork
from labresults.web.tables.ledger import DayColumn, Ledger, number_column, two_lines

_STATES = {
    (False, True): ("on hold", "fail"),
    (False, False): ("open", "care"),
    (True, False): ("closed", ""),
    (True, True): ("closed", ""),
}
"""By whether a case is closed, and on hold: its word, and the class of its tag."""


class CaseTable(Ledger):
    """What was wrong, how much it touched, and where it stands."""

    number = number_column("nonconforming-case", "number", "number", verbose_name="Case")
    made_at = DayColumn(verbose_name="Opened")
    name = Column(verbose_name="Found from", empty_values=())
    what = Column(verbose_name="What was wrong")
    result_count = Column(verbose_name="Results", attrs={"td": {"class": "num"}})
    state = Column(verbose_name="Where it stands", empty_values=(), orderable=False)

    def render_made_at(self, record: NonconformingWork, value: object) -> SafeString:
        return two_lines(self.columns["made_at"].column.words(value), record.made_by)

    def render_name(self, record: NonconformingWork) -> SafeString:
        return format_html('{} <span class="id">{}</span> {}', record.kind, record.name, record.element)

    def render_state(self, record: NonconformingWork) -> SafeString:
        word, kind = _STATES[record.is_closed, record.is_on_hold]  # type: ignore[attr-defined]
        return format_html('<span class="tag {}">{}</span>', kind, word)
