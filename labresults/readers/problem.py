"""What is wrong with a file, where, and what to do about it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """A finding in words. `row` counts from 1 as a spreadsheet does; `column` is the heading, or its letter."""

    row: int | None
    column: str | None
    what: str
    what_to_do: str

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (f"row {self.row}" if self.row else "", f"column {self.column}" if self.column else "")
            if part
        )
        return f"{place + ': ' if place else ''}{self.what} {self.what_to_do}"
