"""Writes lines down a sheet of a workbook: numbers are numbers, shown with the printed figures; all else is text."""

from collections.abc import Iterable, Sequence

from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from reports.render.numbers import shown

A4 = "9"  # paper size as the format counts them (ECMA-376 Part 1, 18.3.1.63)


class Printed(str):
    """A printed string that becomes a number where it is one; any other string stays text, whatever it looks like."""


class Pen:
    """Writes lines down a sheet."""

    def __init__(self, sheet: Worksheet, title: str, widths: Iterable[int]) -> None:
        self.sheet, self.row = sheet, 0
        sheet.title = title
        for index, width in enumerate(widths, start=1):
            sheet.column_dimensions[get_column_letter(index)].width = width

    def write(self, *lines: Sequence[str], bold: bool = False) -> None:
        """Write each line below the last; an empty line leaves a row free."""
        for line in lines:
            self.row += 1
            for column, text in enumerate(line, start=1):
                if text:
                    self._write(column, text, bold)

    def freeze(self, column: int = 1) -> None:
        """Keep in sight what has been written so far, and the columns before `column`."""
        self.sheet.freeze_panes = self.sheet.cell(self.row + 1, column)

    def _write(self, column: int, text: str, bold: bool) -> None:
        cell = self.sheet.cell(self.row, column)
        number = shown(text) if isinstance(text, Printed) else None
        if number is None:
            cell.value = str(text)
            cell.data_type = "s"  # whatever it begins with
            cell.quotePrefix = text[:1] in "=+-@"
            cell.number_format = "@"
        else:
            cell.value = number.value
            cell.number_format = number.format
        if bold:
            cell.font = Font(bold=True)

    def filters(self, columns: int, until: int) -> None:
        """Put filters on the line that was written last, over the lines down to `until`."""
        self.sheet.auto_filter.ref = f"A{self.row}:{get_column_letter(columns)}{max(until, self.row)}"

    def wrap(self, column: int, width: int) -> None:
        """Let long text of a column break into lines."""
        self.sheet.column_dimensions[get_column_letter(column)].width = width
        for row in self.sheet.iter_rows(min_col=column, max_col=column):
            row[0].alignment = Alignment(wrap_text=True, vertical="top")

    def for_print(self, footer: str, repeat_to: int = 0, repeat_columns: str = "") -> None:
        """A4 landscape, as wide as the page, heads repeated on each, with what the sheet belongs to at its foot."""
        sheet = self.sheet
        sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", A4
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
        if repeat_to:
            sheet.print_title_rows = f"1:{repeat_to}"
        if repeat_columns:
            sheet.print_title_cols = repeat_columns
        sheet.oddFooter.left.text = footer.replace("&", "&&")
        sheet.oddFooter.right.text = "&P of &N"
