"""The way back of a printed derived number as records and what ties them, as `labresults.queries.trace_graph` has it.

A result that it was computed from has the key that its own trace gives it, "result.12", so that both can be put
together. No query.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from labresults.calculation.explain_derived import DerivedStep
from labresults.queries.trace_records import Gathered, Graph, Record, TieKind
from reports.queries.derived_pages import InputShown, PrintedPage

if TYPE_CHECKING:
    from labresults.models import Sample


def graph_of_derived(page: PrintedPage) -> Graph:
    """The records that a printed derived number stands on; the first is the number itself."""
    drawn = _Everything(page)
    drawn.number()
    drawn.definition()
    drawn.of_what()
    for each in page.inputs:
        drawn.input(each)
    return drawn.graph()


@dataclass(frozen=True)
class LinkedTerm(DerivedStep):
    """A step of the arithmetic with the record that its numbers come from; address: of the page that shows it."""

    record: Record = field(kw_only=True)
    address: str = ""


def linked(page: PrintedPage, graph: Graph) -> Iterator[LinkedTerm]:
    """Every step of the arithmetic with its record: a term's result, for all else the definition."""
    definition = f"definition.{page.line.derived.code}.{page.line.derived.version}"
    for step in page.steps:
        record = graph.records[definition if step.result is None else f"result.{step.result}"]
        yield LinkedTerm(**vars(step), record=record)


class _Everything(Gathered):
    """Records from the printed number to the results that it was computed from."""

    def __init__(self, page: PrintedPage) -> None:
        super().__init__(page.events)
        self.page, self.line = page, page.line
        self.key, self.derivation = f"derived.{page.line.pk}", f"derivation.{page.line.pk}"

    def number(self) -> None:
        """The derived number, how it was computed, and what was printed of it."""
        line, known = self.line, self.page.again
        place = ("derived-trace", line.pk, "")
        certificate = line.certificate
        self.entity(
            self.key, "derived number", self.page.name, page=place, value=line.value, unit=line.unit, u=line.u,
            basis=known.basis, expanded_u=known.expanded_u, coverage_factor=known.coverage_factor,
            sign=known.sign or None, bound=known.bound, low=known.low, high=known.high,
            detection_limit=known.detection_limit, quantification_limit=known.quantification_limit,
            why_no_value=known.why or None, computed_without="; ".join(known.lacking) or None,
        )  # fmt: skip
        self.act(
            self.derivation, "derivation", f"derivation of {self.page.name}", certificate.made_by, page=place,
            subject=("certificate", str(certificate)), at=certificate.made_at, edition_of_derivation=known.edition,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, self.key, self.derivation)
        self.tie(TieKind.OF, self.key, self.person(certificate.made_by))
        printed, issued = self.printed_number(line)
        self.tie(TieKind.FROM, printed, self.key)
        self.tie(TieKind.USED, issued, self.key, "derived number")

    def definition(self) -> None:
        """By what it is computed, as the version that the request named says it."""
        row, shown = self.line.derived, self.page.shown
        name = self.entity(
            f"definition.{row.code}.{row.version}", "definition of a derived result", row, at=row.made_at,
            page=("derived-result", row.code, ""), subject=("derived result", str(row)), calls_it=row.name,
            formula=shown.formula, below_limits=shown.below, source=row.source, remark=row.remark or None,
        )  # fmt: skip
        self.tie(TieKind.OF, name, self.person(row.made_by))
        self.tie(TieKind.BY_PLAN, self.derivation, name)
        self.tie(TieKind.USED, self.derivation, name, "definition")

    def of_what(self) -> None:
        """The sample that it is of, or the set with what each of its samples stands for."""
        one, of_set = self.line.sample, self.line.sample_set
        if one:
            self.tie(TieKind.USED, self.derivation, self.sample(one), "sample")
        if of_set:
            number = of_set.submission.number
            key = self.entity(
                f"set.{of_set.pk}", "set of samples", of_set, page=("sample-sets", number, ""),
                subject=("submission", number), at=of_set.made_at,
                **{f"{each.sample}_kg": each.mass_kg for each in of_set.members.all()},
            )  # fmt: skip
            self.tie(TieKind.OF, key, self.person(of_set.made_by))
            self.tie(TieKind.USED, self.derivation, key, "set of samples")
            for each in of_set.members.all():
                self.tie(TieKind.MEMBER, key, self.sample(each.sample))

    def sample(self, one: "Sample") -> str:
        """A sample, once."""
        named = one.client_identification
        return self.entity(f"sample.{one}", "sample", one, page=("sample", one.number, ""), client_identification=named)

    def input(self, each: InputShown) -> None:
        """A result that it was computed from, with its evaluation, what was decided of it, and its moisture."""
        result, given = each.result, each.entered.given
        evaluation, run = result.evaluation, result.evaluation.run
        key = self.entity(
            f"result.{result.pk}", "result", f"{result.reported_as} in {result.sample}", page=("trace", result.pk, ""),
            subject=("run", run.number), at=evaluation.made_at, value=result.value, unit=result.unit,
            basis=result.basis, line=str(result.line), u=result.u, expanded_u=result.expanded_u,
            coverage_factor=result.coverage_factor,
            detection_limit=result.detection_limit, quantification_limit=result.quantification_limit,
            upper_limit=result.upper_limit, printed=each.printed or None, why_no_value=result.why_no_value or None,
        )  # fmt: skip
        evaluated = self.act(
            f"evaluation.{run.number}.{evaluation.version}", "evaluation", f"evaluation {evaluation.version} of {run}",
            evaluation.made_by, page=("run", run.number, f"?evaluation={evaluation.version}"),
            subject=("run", run.number), at=evaluation.made_at, inputs_sha256=evaluation.inputs_sha256,
            outputs_sha256=evaluation.outputs_sha256,
        )  # fmt: skip
        self.tie(TieKind.FROM, self.key, key)
        self.tie(TieKind.USED, self.derivation, key, given.label)
        self.tie(TieKind.MADE_BY, key, evaluated)
        self.tie(TieKind.FROM, key, self.sample(result.sample))
        self.decided(each, key)
        self.dried(each)

    def dried(self, each: InputShown) -> None:
        """The drying that brought a result to the dry basis."""
        if (dried := each.moisture) is None:
            return
        of = str(each.result.sample)
        moisture = self.entity(
            f"moisture.{dried.pk}", "moisture", f"moisture of {of}", page=("sample", of, ""), at=dried.made_at,
            subject=("mass losses", str(dried.kind)), loss_percent=dried.loss_percent,
        )  # fmt: skip
        self.tie(TieKind.USED, self.derivation, moisture, "moisture")
        self.tie(TieKind.OF, moisture, self.person(dried.made_by))

    def decided(self, each: InputShown, key: str) -> None:
        """The review that approved a result before it was printed."""
        if each.decided is None or each.result.sample is None:
            return
        review, number = each.decided.review, each.result.sample.submission.number
        name = self.act(
            f"review.{review.pk}", "review", f"{review.decision}", review.made_by, page=("review", number, ""),
            subject=("submission", number), at=review.made_at, meaning=review.meaning,
            values_sha256=review.values_sha256 or None,
        )  # fmt: skip
        self.tie(TieKind.USED, name, key, "reviewed")
