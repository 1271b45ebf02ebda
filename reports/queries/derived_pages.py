"""A printed derived result with what it was computed from, as its page and its files show it.

`printed_page` makes 9 queries, one more of a set, and two more on dry basis, however many inputs there are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from django.db.models import Prefetch

from labresults.calculation.derived import Derived
from labresults.calculation.derived_formula import Entered
from labresults.calculation.explain_derived import DerivedStep, explain_derived
from labresults.queries.derived import as_definition, moisture_rows_of
from labresults.queries.derived_pages import Shown
from labresults.queries.results import Decided, newest_reviews
from labresults.queries.shared_rows import give_evaluations
from labresults.queries.trace_events import Subject, events_of
from labresults.terms import Basis, DerivedForm
from reports.models import CertificateInput, CertificateLine
from reports.queries.derived_check import derive_line_again
from reports.queries.derived_printing import printing_steps
from reports.queries.printed_statement import names_of, stated_before
from reports.rules.explain_print import PrintStep
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import AuditEvent, MassLoss, Result

FILES = {"pdf": "PDF", "json": "JSON", "prov.json": "PROV-JSON", "provn": "PROV-N"}
"""Kinds of files of a way back, and what each is called."""


class InputShown(NamedTuple):
    """One result that it was computed from. entered: with its factors; printed: on the same certificate, "" where not.

    decided: what had been decided of it when the certificate was issued; moisture: what brought it to the dry basis.
    """

    result: "Result"
    entered: Entered
    printed: str
    decided: Decided | None
    moisture: "MassLoss | None"


@dataclass(frozen=True)
class PrintedPage:
    """A printed derived result: the line, its definition in words, and the calculation done again from its inputs."""

    line: CertificateLine
    shown: Shown
    again: Derived
    steps: tuple[DerivedStep, ...]
    printing: tuple[PrintStep, ...]
    inputs: tuple[InputShown, ...]
    events: "Sequence[AuditEvent]"  # the oldest first
    files: Mapping[str, str]

    @property
    def same(self) -> bool:
        """Whether the inputs give what was stored, bit for bit."""
        return (self.again.value, self.again.u) == (self.line.value, self.line.u)

    @property
    def of(self) -> str:
        """The sample's number, or the name of the set."""
        return str(self.line.sample or self.line.sample_set)

    @property
    def name(self) -> str:
        """What it is of what."""
        return f"{self.line.derived.reported_as} in {self.of}"


def printed_page(key: int) -> PrintedPage:
    """A printed derived result by its line. Raises CertificateLine.DoesNotExist."""
    line = _line(key)
    results = {each.result_id: each.result for each in line.inputs.all()}
    give_evaluations(list(results.values()), "made_by")
    definition, issued_at = as_definition(line.derived), line.certificate.made_at
    samples = {line.sample_id} if line.sample_id and definition.form is DerivedForm.DRY else set()
    moistures = moisture_rows_of(samples, issued_at) if samples else {}
    again = derive_line_again(line, {sample: row.loss_percent for sample, row in moistures.items()})
    decided = newest_reviews(results, issued_at)
    printed = dict(line.certificate.lines.filter(result__in=results).values_list("result", "printed"))
    inputs = tuple(
        InputShown(results[each.given.key], each, printed.get(each.given.key, ""), decided.get(each.given.key),
                   moistures.get(line.sample_id or 0) if each.given.basis is not Basis.DRY else None)
        for each in again.entered if each.given.key is not None
    )  # fmt: skip
    return PrintedPage(
        line=line,
        shown=Shown(line.derived, definition),
        again=again,
        steps=explain_derived(definition, again),
        printing=stated_before(
            printing_steps(again, _rules(line), line.printed), line.certificate.document, line.column, names_of(line)
        ),
        inputs=inputs,
        events=_events(line, inputs),
        files=FILES,
    )


def _rules(line: CertificateLine) -> RuleSet:
    return RuleSet.from_json(line.certificate.rule_set.specification)


def _line(key: int) -> CertificateLine:
    """The line with its certificate, definition and inputs, each with its sample; two queries, one more of a set."""
    inputs = CertificateInput.objects.select_related(
        "result__position", "result__line", "result__sample__submission__client"
    )
    rows = CertificateLine.objects.select_related(
        "certificate__withdrawal", "certificate__rule_set", "certificate__made_by", "derived__made_by",
        "sample__submission__client", "sample_set__made_by", "sample_set__submission__client",
    ).prefetch_related(Prefetch("inputs", inputs.order_by("pk")), "sample_set__members__sample")  # fmt: skip
    return rows.get(pk=key, derived__isnull=False)


def _events(line: CertificateLine, inputs: Sequence[InputShown]) -> "Sequence[AuditEvent]":
    """What was done for it: its issue, its rules, its definition, the set, and of each input evaluation and review."""
    certificate, definition, of_set = line.certificate, line.derived, line.sample_set
    moments: list[tuple[Subject, datetime]] = [(("derived result", str(definition)), definition.made_at)]
    if of_set:
        moments.append((("submission", of_set.submission.number), of_set.made_at))
    for each in inputs:
        evaluation = each.result.evaluation
        moments.append((("run", evaluation.run.number), evaluation.made_at))
        if each.decided and each.result.sample:
            moments.append((("submission", each.result.sample.submission.number), each.decided.review.made_at))
        if each.moisture:
            moments.append((("mass losses", str(each.moisture.kind)), each.moisture.made_at))
    subjects = [("certificate", str(certificate)), ("rule set", str(certificate.rule_set))]
    return events_of(subjects, list(dict.fromkeys(moments)))
