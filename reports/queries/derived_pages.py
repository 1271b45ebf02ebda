"""A printed derived result with what it was computed from, as a page shows it."""

from dataclasses import dataclass

from labresults.calculation.derived import Derived
from labresults.calculation.explain_derived import DerivedStep, explain_derived
from labresults.queries.derived import as_definition
from labresults.queries.derived_pages import Shown
from reports.models import CertificateLine
from reports.queries.derived_check import derive_again, derived_lines


@dataclass(frozen=True)
class PrintedPage:
    """A printed derived result: the line, its definition in words, and the calculation done again from its inputs."""

    line: CertificateLine
    shown: Shown
    again: Derived
    steps: tuple[DerivedStep, ...]

    @property
    def same(self) -> bool:
        """Whether the inputs give what was stored, bit for bit."""
        return (self.again.value, self.again.u) == (self.line.value, self.line.u)


def printed_page(key: int) -> PrintedPage:
    """A printed derived result by its line; about six queries. Raises CertificateLine.DoesNotExist."""
    line = CertificateLine.objects.select_related("certificate__withdrawal").get(pk=key, derived__isnull=False)
    line = next(row for row in derived_lines(line.certificate, key))
    definition = as_definition(line.derived)
    (again,) = derive_again([line], line.certificate)
    return PrintedPage(line, Shown(line.derived, definition), again, explain_derived(definition, again))
