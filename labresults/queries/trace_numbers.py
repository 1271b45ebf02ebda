"""A traced number computed again, and what stands beside it: its uncertainty's sources, estimates of its limits."""

from labresults.calculation.budget import Contribution, budget
from labresults.calculation.evaluation import evaluate
from labresults.calculation.explain import explain
from labresults.calculation.run import FittedCurve, LineSpecification, Step
from labresults.calculation.solutions import find_solutions
from labresults.models import LimitEstimate, Result
from labresults.queries.run_tables import LoadedRun
from labresults.terms import LimitQuantity


def budget_of(result: Result, loaded: LoadedRun) -> tuple[Contribution, ...]:
    """What contributes to the result's uncertainty; nothing where it has no value; no query."""
    table, method = loaded.table, loaded.method
    row = next(index for index, at in enumerate(table.positions) if at.number == result.position.number)
    determination = next((each for each in method.determinations if each.element == result.element_id), None)
    portion, line = table.positions[row].portion, str(result.line)
    if result.value is None or portion is None or determination is None or line not in table.line_keys:
        return ()
    return budget(find_solutions(table, method), row, table.line_keys.index(line), portion, determination)


def limits_of(result: Result, line: LineSpecification | None) -> list[LimitEstimate]:
    """The newest estimates, before the method version, that give exactly its limits; one query."""
    if line is None:
        return []
    version = result.evaluation.run.method_version
    wanted = {
        LimitQuantity.DETECTION: line.detection_limit,
        LimitQuantity.QUANTIFICATION: line.quantification_limit,
    }
    rows = LimitEstimate.objects.filter(
        method_version__method=version.method_id,
        line=result.line_id,
        made_at__lte=version.made_at,
        quantity__in=wanted,
        value__in=wanted.values(),
    ).select_related("made_by")
    newest = {row.quantity: row for row in rows.order_by("pk") if row.value == wanted[LimitQuantity(row.quantity)]}
    return [newest[quantity] for quantity in wanted if quantity in newest]


def computed_again(result: Result, loaded: LoadedRun) -> tuple[tuple[Step, ...], float | None, FittedCurve | None]:
    """Compute the whole run again, and write this result's calculation out; with its value and its curve; no query."""
    evaluated = evaluate(loaded.table, loaded.method)
    place = (result.position.number, str(result.line))
    found = next((r for r in evaluated.results if (r.position, r.line) == place), None)
    key = (result.position.block, str(result.line))
    curve = next((each for each in evaluated.curves if (each.block, each.line) == key and not each.problem), None)
    return explain(loaded.table, loaded.method, evaluated, *place), found.value if found else None, curve
