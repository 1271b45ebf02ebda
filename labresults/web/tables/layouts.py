"""Layouts of files as a list."""

from django_tables2 import Column

from labresults.web.tables.ledger import DayColumn, Ledger, number_column


class LayoutTable(Ledger):
    """Layouts of readings in their newest versions, and how many files came in each."""

    name = number_column("layout", "name", "name", verbose_name="Layout")
    version = Column(verbose_name="Version", attrs={"td": {"class": "num"}})
    file_count = Column(verbose_name="Files", attrs={"td": {"class": "num"}})
    made_by = Column(verbose_name="Made by")
    made_at = DayColumn(verbose_name="On")
