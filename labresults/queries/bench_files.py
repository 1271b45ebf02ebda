"""A file of a balance, or rows of a spreadsheet, as lines for the weighing grid. No function asks the database."""

from labresults.models import Layout
from labresults.readers.weighing_layout import WeighingLayout
from labresults.readers.weighings import read_weighings


def lines_of(content: bytes, layout: Layout | None) -> tuple[list[dict[str, str]], list[str]]:
    """Rows as texts by name (label, mass_g, ...), and the problems of the file in words.

    layout: as it was saved; None: the headings that the laboratory's own sheet uses, and a decimal point.
    """
    file = read_weighings(content, WeighingLayout.from_json(layout.specification) if layout else None)
    return [{"label": row.label} | row.texts() for row in file.weighings], [str(problem) for problem in file.problems]
