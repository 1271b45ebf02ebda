"""Submissions, samples and clients as lists."""

from typing import Any

from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import A, Column

from labresults.models import Submission
from labresults.queries.waiting import Waiting, open_work
from labresults.templatetags.quantities import along, day_of_year, things
from labresults.terms import Station
from labresults.web.tables.ledger import DayColumn, Ledger, number_column, two_lines

_PATH = list(Station)


class SubmissionTable(Ledger):
    """What was delivered, by whom, when it is due and where it stands."""

    number = number_column("submission", "number", "number", verbose_name="Submission")
    client = Column(accessor="client__name", verbose_name="Client")
    received_at = DayColumn(verbose_name="Received")
    due_on = DayColumn(verbose_name="Due")
    sample_count = Column(verbose_name="Samples", attrs={"td": {"class": "num"}})
    where = Column(empty_values=(), orderable=False, verbose_name="Where it stands")

    class Meta:
        order_by = ("-received_at",)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.today = timezone.localdate()
        self.waiting: dict[str, list[Waiting]] = {}
        for row in open_work():
            self.waiting.setdefault(row.submission, []).append(row)

    def render_client(self, value: str, record: Submission) -> SafeString:
        return two_lines(value, record.reference)

    def render_due_on(self, value: Any, record: Submission) -> SafeString:
        open_rows = self.waiting.get(record.number)
        days = (self.today - value).days
        if not open_rows or days < 0:
            return format_html("{}", day_of_year(value))
        late = format_html('<span class="tag fail">{} late</span>', things(days, "day"))
        return format_html(
            "{} {}", day_of_year(value), late if days else format_html('<span class="tag care">today</span>')
        )

    def render_where(self, record: Submission) -> SafeString:
        rows = self.waiting.get(record.number)
        if not rows:
            return format_html("{}", "certificate issued" if record.certified else "nothing waits")
        first = min(rows, key=lambda row: _PATH.index(row.station))
        return where(first.station, f"{first.station}, {things(first.samples, 'sample')}")


class SampleTable(Ledger):
    """Samples under their laboratory number and the client's own identification, kept to the letter."""

    number = number_column("sample", "number", "number", verbose_name="Laboratory number")
    client_identification = Column(verbose_name="Client's own identification")
    matrix = Column(accessor="matrix__name", verbose_name="Matrix")
    submission = number_column("submission", "submission__number", "number", verbose_name="Submission")
    client = Column(accessor="submission__client__name", verbose_name="Client")
    received = DayColumn(accessor="submission__received_at", verbose_name="Received")


class ClientTable(Ledger):
    """Clients and how much they delivered."""

    name = Column(verbose_name="Client", linkify=("client", {"code": A("code")}))
    code = Column(verbose_name="Code", attrs={"td": {"class": "nowrap"}})
    contact = Column(verbose_name="Contact")
    submission_count = Column(verbose_name="Submissions", attrs={"td": {"class": "num"}})


def where(station: Station, words: str) -> SafeString:
    """Five dots and the words beside them."""
    return format_html('<span class="where">{}<span>{}</span></span>', along(station), words)
