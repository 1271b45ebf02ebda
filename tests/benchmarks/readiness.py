"""How long it takes to see what may go on a certificate, for large submissions, beside a floor of plain reads.

    .venv/bin/python -m pytest tests/benchmarks/readiness.py -s

500 samples x 24 elements and 2,000 x 12, all approved. Processor time; the floor reads the same results as plain rows.
Not part of the suite.
"""

from collections.abc import Callable
from copy import copy
from time import process_time
from typing import Any

import pytest
from django.db.models import Model

from labresults.models import Determination, Element, Line, Position, Result, ReviewedResult, Sample, Selection
from labresults.queries.readiness import readiness
from labresults.queries.reportable import reportable
from tests.builders import Laboratory, a_submission, an_evaluated_run, approved


@pytest.mark.parametrize(("samples", "elements"), [(500, 24), (2000, 12)])
def test_what_may_be_certified(samples: int, elements: int, lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    grown(lab, submission, samples, elements)

    floor = timed(lambda: list(Result.objects.filter(sample__submission=submission)))
    ready = timed(lambda: readiness([submission]))
    whole = timed(lambda: reportable(submission))
    found = readiness([submission])
    print(
        f"\n{samples} x {elements}: plain rows {floor:.2f} s; readiness {ready:.2f} s, {ready / floor:.1f} times;"
        f" reportable {whole:.2f} s, {whole / floor:.1f} times"
    )
    assert (len(found.results), found.missing) == (samples * elements, [])


def grown(lab: Laboratory, submission: Any, samples: int, elements: int) -> None:
    """Let the one sample be many, and its copper many elements: copies of rows, in bulk."""
    symbols = ["Cu", "Pb", *Element.objects.exclude(pk__in=["Cu", "Pb"]).values_list("pk", flat=True)][:elements]
    lines = {
        symbol: Line.objects.create(element_id=symbol, label="as grown", wavelength_nm=200.0) for symbol in symbols
    }
    determination = lab.version.determinations.earliest("ordinal")
    made_of(
        Determination,
        [(determination, {"element_id": symbol, "reported_as": symbol, "ordinal": 10 + place})
         for place, symbol in enumerate(symbols[2:])],
    )  # fmt: skip
    sample = submission.samples.get()
    result = sample.results.filter(is_candidate=True, element="Cu").get()
    selection, reviewed = result.selections.get(), ReviewedResult.objects.get(result=result)
    more = made_of(
        Sample,
        [(sample, {"number": f"KF26-{place:05d}", "ordinal": place, "client_identification": f"core {place}"})
         for place in range(2, samples + 1)],
    )  # fmt: skip
    places = made_of(Position, [(result.position, {"number": 1000 + place}) for place in range(len(more))])
    rows = [
        (result, {"sample_id": of.pk, "position_id": at.pk, "element_id": symbol, "line_id": lines[symbol].pk})
        for of, at in zip([sample, *more], [result.position, *places], strict=True)
        for symbol in (symbols if of is not sample else symbols[2:])
    ]
    results = made_of(Result, rows)
    made_of(
        Selection,
        [(selection, {"sample_id": row.sample_id, "element_id": row.element_id, "result_id": row.pk})
         for row in results],
    )  # fmt: skip
    made_of(ReviewedResult, [(reviewed, {"result_id": row.pk}) for row in results])


def made_of(model: type[Model], rows: list[tuple[Any, dict[str, Any]]]) -> list[Any]:
    """Copies of rows with some of their fields otherwise."""
    copies = []
    for row, changes in rows:
        one = copy(row)
        one._state = copy(row._state)
        one._state.fields_cache = {}
        one.pk = None
        for name, value in changes.items():
            setattr(one, name, value)
        copies.append(one)
    made: list[Any] = model.objects.bulk_create(copies, batch_size=2000)  # type: ignore[attr-defined]
    return made


def timed(work: Callable[[], Any]) -> float:
    """Processor time of the second call, s."""
    work()
    begun = process_time()
    work()
    return process_time() - begun
