"""The way back of a printed derived number as JSON, in the shape that `labresults.queries.trace_json` gives a result's.

`format` is 1. `derived`: key of the record that was asked about. `edition`: of the derivation, by which it was printed
and is computed again. `definition`: formula, terms and source. `computed_again`: value, bound and uncertainty done
anew, and whether they are the stored ones to the last bit. `printed`: the printed string with its rule steps, as a list
of one. `inputs`: each result that it was computed from, with its own numbers and limits, what is printed of it on the
same certificate, what it is multiplied by in both parts of the formula, and where its own way back is. `arithmetic`,
`records`, `ties`, `audit`, numbers and moments: as there.
"""

from collections.abc import Mapping
from typing import Any

from labresults.queries.trace_json import FORMAT, as_events, as_records, as_step, as_ties, printed_as_json
from labresults.queries.trace_records import Graph, written
from reports.queries.derived_graph import graph_of_derived, linked
from reports.queries.derived_pages import InputShown, PrintedPage


def derived_json(page: PrintedPage, addresses: Mapping[int, str]) -> dict[str, Any]:
    """The whole way back as plain values; addresses: of each input's own way back, by its key; no query."""
    graph = graph_of_derived(page)
    return {
        "format": FORMAT,
        "derived": next(iter(graph.records)),
        "edition": page.again.edition,
        "definition": _definition(page),
        "computed_again": _again(page),
        "printed": [printed_as_json(page.line, page.printing)],
        "inputs": [_input(each, addresses.get(each.result.pk, "")) for each in page.inputs],
        "arithmetic": _arithmetic(page, graph),
        "records": as_records(graph),
        "ties": as_ties(graph),
        "audit": as_events(page.events),
    }


def _definition(page: PrintedPage) -> dict[str, Any]:
    row, shown = page.line.derived, page.shown
    return {
        "record": f"definition.{row.code}.{row.version}",
        "code": row.code,
        "version": row.version,
        "name": row.name,
        "reported_as": row.reported_as,
        "unit": row.unit,
        "form": row.form,
        "formula": shown.formula,
        "terms": [
            {"part": term.part, "element": term.element, "as": term.reported_as, "unit": term.unit,
             "factor": written(term.factor), "by": list(term.by)}
            for term in shown.definition.terms
        ],
        "below": shown.below,
        "all_needed": row.all_needed,
        "source": row.source,
        "remark": row.remark,
    }  # fmt: skip


def _again(page: PrintedPage) -> dict[str, Any]:
    known = page.again
    return {
        "value": written(known.value),
        "sign": known.sign,
        "bound": written(known.bound),
        "low": written(known.low),
        "high": written(known.high),
        "unit": known.unit,
        "basis": known.basis,
        "u": written(known.u),
        "expanded_u": written(known.expanded_u),
        "coverage_factor": written(known.coverage_factor),
        "detection_limit": written(known.detection_limit),
        "quantification_limit": written(known.quantification_limit),
        "why_no_value": known.why,
        "computed_without": list(known.lacking),
        "same": page.same,
    }


def _input(each: InputShown, address: str) -> dict[str, Any]:
    result, given = each.result, each.entered.given
    return {
        "record": f"result.{result.pk}",
        "label": given.label,
        "sample": str(result.sample),
        "reported_as": given.reported_as,
        "value": written(given.value),
        "unit": given.unit,
        "basis": given.basis,
        "printed": each.printed or None,
        "detection_limit": written(given.detection_limit),
        "quantification_limit": written(given.quantification_limit),
        "upper_limit": written(given.upper_limit),
        "u": written(given.u),
        "expanded_u": written(result.expanded_u),
        "coverage_factor": written(given.coverage_factor),
        "times": {"a": written(each.entered.a), "b": written(each.entered.b)},
        "mass_kg": written(given.mass_kg),
        "moisture_percent": written(given.moisture_percent),
        "trace": address,
    }


def _arithmetic(page: PrintedPage, graph: Graph) -> list[dict[str, Any]]:
    return [as_step(step, step.record) for step in linked(page, graph)]
