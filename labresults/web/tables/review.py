"""What waits for review, as a list."""

from django_tables2 import Column

from labresults.templatetags.quantities import things
from labresults.web.tables.ledger import number_column
from labresults.web.tables.samples import SubmissionTable


class ReviewTable(SubmissionTable):
    """Submissions with the results that nobody has decided about, the earliest due first."""

    number = number_column("review", "number", "number", verbose_name="Submission")
    unsaid = Column(verbose_name="Results that wait", attrs={"td": {"class": "num"}})

    class Meta:
        order_by = ("due_on",)
        exclude = ("received_at",)
        sequence = ("number", "client", "due_on", "sample_count", "unsaid", "where")

    def render_unsaid(self, value: int) -> str:
        """How many, in words."""
        return things(value, "result") if value else "none"
