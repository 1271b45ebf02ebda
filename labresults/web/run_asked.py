"""What a reader asked of a run's page: which evaluation, line, lines, positions; and addresses that keep it so."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import reverse

MOST_DIGITS = 9


@dataclass(frozen=True)
class Asked:
    """Everything in the address of the page. only: the lines that the positions are shown at; empty: all of them.

    at: a position that is to be seen; criterion: the group of failures that is shown whole; whole: lists shown whole.
    """

    number: str
    version: int | None = None
    line: str = ""
    block: int | None = None
    only: tuple[str, ...] = ()
    at: int | None = None
    criterion: int | None = None
    whole: tuple[str, ...] = ()

    def kept(self, **changed: object) -> str:
        """The address of the page with only what is changed in it; None takes something out."""
        asked: dict[str, object] = {
            "evaluation": self.version, "line": self.line, "block": self.block, "only": self.only, "at": self.at,
            "criterion": self.criterion, "whole": self.whole,
        } | changed  # fmt: skip
        query = urlencode({name: value for name, value in asked.items() if value}, doseq=True)
        return reverse("run", args=[self.number]) + (f"?{query}" if query else "")

    def position_address(self, *, is_parted: bool) -> str:
        """Where a position is, with `{0}` for its number; in a run that stands on one page no other page is needed."""
        if not is_parted:
            return "#p{0}"
        address = self.kept(at=None)
        return f"{address}{'&' if '?' in address else '?'}at={{0}}#p{{0}}"

    def line_addresses(self, lines: tuple[str, ...]) -> Mapping[str, str]:
        """Where the curve of each line is."""
        return {line: f"{self.kept(line=line)}#cal" for line in lines}


def asked_of(request: HttpRequest, number: str) -> Asked:
    """What the address of a request asks for; what is no number is not asked."""
    given = request.GET
    return Asked(
        number=number,
        version=_number(given.get("evaluation", "")),
        line=given.get("line", ""),
        block=_number(given.get("block", "")),
        only=tuple(given.getlist("only")),
        at=_number(given.get("at", "")),
        criterion=_number(given.get("criterion", "")),
        whole=tuple(given.getlist("whole")),
    )


def _number(written: str) -> int | None:
    return int(written) if written.isascii() and written.isdigit() and len(written) <= MOST_DIGITS else None
