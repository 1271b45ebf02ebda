"""Methods as a list."""

from django_tables2 import Column

from labresults.web.tables.ledger import DayColumn, Ledger, number_column


class MethodTable(Ledger):
    """Methods with their newest version."""

    code = number_column("method", "code", "code", verbose_name="Method")
    title = Column(verbose_name="Title")
    area = Column(verbose_name="Area")
    dissolution = Column(verbose_name="Brought into solution by")
    newest = Column(verbose_name="Version", attrs={"td": {"class": "num"}})
    valid_from = DayColumn(verbose_name="Valid from")
    run_count = Column(verbose_name="Runs", attrs={"td": {"class": "num"}})
