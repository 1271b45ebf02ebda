"""People and the audit trail as lists."""

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.timezone import localtime
from django_tables2 import A, Column

from labresults.models import AuditEvent, Person
from labresults.templatetags.quantities import plain
from labresults.templatetags.records import audit_address, forward_address, record_address
from labresults.web.tables.ledger import DayColumn, Ledger


class PersonTable(Ledger):
    """Who can sign in, and as what."""

    name = Column(accessor="last_name", verbose_name="Name", empty_values=())
    username = Column(verbose_name="Signs in as")
    roles = Column(empty_values=(), orderable=False, verbose_name="Roles")
    client = Column(accessor="client__name", verbose_name="Of the client", default="")
    last_login = DayColumn(verbose_name="Last here", default="never")
    work = Column(empty_values=(), orderable=False, verbose_name="Their work")

    def render_name(self, record: Person) -> str:
        return str(record)

    def render_roles(self, record: Person) -> str:
        return ", ".join(sorted(group.name for group in record.groups.all()))

    def render_work(self, record: Person) -> SafeString:
        touched, audited = forward_address(record.username, "person"), audit_address(record.username)
        return format_html('<a href="{}">what it touched</a>, <a href="{}">audit entries</a>', touched, audited)


class AuditTable(Ledger):
    """The audit trail, newest first; each event opens."""

    seq = Column(verbose_name="Event", linkify=("audit-event", {"seq": A("seq")}), attrs={"td": {"class": "num"}})
    at = Column(verbose_name="When", attrs={"td": {"class": "nowrap"}})
    person = Column(accessor="person__last_name", verbose_name="Who")
    act = Column(verbose_name="What was done")
    subject = Column(verbose_name="To what")

    def render_at(self, value: object) -> str:
        return f"{localtime(value):%d %b %Y %H:%M:%S}"  # type: ignore[arg-type]

    def render_seq(self, value: int) -> str:
        return plain(value)

    def render_person(self, record: AuditEvent) -> str:
        return str(record.person)

    def render_act(self, value: str) -> str:
        return value.replace("_", " ")

    def render_subject(self, record: AuditEvent) -> SafeString:
        address = record_address(record.subject_kind, record.subject)
        if not address:
            return format_html('{} <span class="id">{}</span>', record.subject_kind, record.subject)
        return format_html('{} <a class="id" href="{}">{}</a>', record.subject_kind, address, record.subject)
