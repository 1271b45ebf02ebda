"""From a printed number back: how its string came of the value, and then everything that the value stands on."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import F, Q

from labresults.queries.trace import asked, trace
from labresults.queries.trace_pages import TracePage, page_of, trace_page
from reports.models import Certificate, CertificateLine, RuleSetVersion
from reports.printed import in_form, measured_of
from reports.queries.printed_statement import stated_before
from reports.queries.result_facts import fact_of
from reports.rules.explain_print import PrintStep, explain_print
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Result

_BESIDE = "beside its limit or its words the certificate says it so; by the rules alone it would be"


@dataclass(frozen=True)
class PrintedTrace:
    """A result with how each of its printed strings came about, by the key of the line."""

    page: TracePage
    printing: dict[int, tuple[PrintStep, ...]]

    @property
    def steps(self) -> tuple[PrintStep, ...]:
        """From the value to the string that was asked about; nothing where none was printed."""
        return self.printing.get(self.page.newest.pk, ()) if self.page.newest else ()


def line_of(number: str, issue: int, of: str, column: str, **more: Any) -> CertificateLine:
    """The printed number of a sample (by number) or of a set (as it is named there) in a column; one query.

    more: conditions on the line. Raises DoesNotExist, also where a name alone could mean two sets.
    """
    lines = CertificateLine.objects.filter(certificate__number=number, certificate__issue=issue, column=column, **more)
    submission, _, name = of.partition(": ")
    of_set = Q(sample_set__name=of) | Q(sample_set__name=name, sample_set__submission__number=submission)
    found = list(lines.filter(Q(sample__number=of) | of_set)[:2])
    if len(found) != 1:
        raise CertificateLine.DoesNotExist(f"Nothing, or more than one thing, is printed of {of} in {column}.")
    return found[0]


def printed_trace(number: str, issue: int, of: str, column: str) -> PrintedTrace:
    """Everything behind the result that is printed of a sample in a column; `asked`, `trace`, and one query where its
    column has rules of its own. Raises Result.DoesNotExist where no measured result is printed there.
    """
    place = Q(printed__certificate__number=number, printed__certificate__issue=issue, printed__column=column)
    more = {"line_asked": F("printed"), "of_certificate": F("printed__certificate")}
    more["certificate_document"] = F("printed__certificate__document")
    result = asked(place & Q(printed__sample__number=of), **more)
    page = page_of(trace(result), result.line_asked)
    return PrintedTrace(page, _printing(page, [page.newest], {result.of_certificate: result.certificate_document}))


def result_trace(result: int) -> PrintedTrace:
    """Everything behind a result, with all of its printed strings; `trace_page` and up to two queries more.

    Raises Result.DoesNotExist.
    """
    page = trace_page(result)
    lines = page.trace.printed
    documents = dict(Certificate.objects.filter(lines__in=[line.pk for line in lines]).values_list("pk", "document"))
    return PrintedTrace(page, _printing(page, lines, documents))


def _printing(page: TracePage, lines: Sequence[Any], documents: Mapping[int, str]) -> dict[int, tuple[PrintStep, ...]]:
    """How each of these lines came of the value, by its key; one query where columns have rules of their own."""
    rules = _rules_of(lines, documents)
    result = page.result
    steps = {line.pk: _steps(result, line, rules[line.pk]) for line in lines}
    return {
        line.pk: stated_before(
            steps[line.pk], documents[line.certificate_id], line.column, [str(result.sample)], result.element_id
        )
        for line in lines
    }


def _rules_of(lines: Sequence[Any], documents: Mapping[int, str]) -> dict[int, RuleSet]:
    """The rule set of each line: that of its column where the certificate names one, else the certificate's."""
    named = {line.pk: _named(documents[line.certificate_id], line.column) for line in lines}
    wanted = {name.rpartition(" v")[0] for name in named.values() if name}
    saved = {str(row): row for row in RuleSetVersion.objects.filter(name__in=wanted)} if wanted else {}
    return {
        line.pk: RuleSet.from_json(saved.get(named[line.pk], line.certificate.rule_set).specification) for line in lines
    }


def _named(document: str, column: str) -> str:
    """The rules that a column of a frozen document has of its own; only its columns are read."""
    columns = json.loads(document)["columns"]
    return next((each.get("rule_set", "") for each in columns if each["key"] == column), "")


def _steps(result: "Result", line: Any, rules: RuleSet) -> tuple[PrintStep, ...]:
    """From the value to the string on the certificate, which is the last step's."""
    fact = fact_of(result, str(result.sample), result.evaluation.run.method_version.method.code)
    steps = explain_print(measured_of(in_form(fact, rules)), rules)
    if steps[-1].gives == line.printed:
        return steps
    return (*steps[:-1], PrintStep("printed", f"{_BESIDE} {steps[-1].gives}", line.printed))
