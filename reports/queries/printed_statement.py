"""The statement of conformity of one printed number, read from its frozen document, among the steps to its string."""

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from reports.models import CertificateLine
from reports.rules.explain_print import PrintStep
from reports.statements import limit_said

BESIDE = "unrounded, beside its limit of {}; rule and source stand on the certificate"
UNNAMED = "unrounded, beside its limit; limit, rule and source stand on the certificate"


def stated_before(
    steps: Sequence[PrintStep], document: str, column: str, of: Collection[str], element: str = ""
) -> tuple[PrintStep, ...]:
    """Return the steps with the statement before the last one, where the number has one; no query.

    document: as frozen; of: the number of its sample, or the names that its set may have there; element: that a limit
    may be on where the column names its oxide.
    """
    read = json.loads(document)
    part = _part(read, of)
    words = next((cell.get("statement", "") for cell in part.get("cells", ()) if cell["column"] == column), "")
    if not words:
        return tuple(steps)
    limit = _limit(read, column, part.get("conformity", ""), element)
    return (*steps[:-1], PrintStep("statement", BESIDE.format(limit) if limit else UNNAMED, words), *steps[-1:])


def names_of(line: CertificateLine) -> tuple[str, ...]:
    """How the sample or the set of a printed number may be called in its document; its rows are there already."""
    if line.sample:
        return (line.sample.number,)
    of = line.sample_set
    return (of.name, f"{of.submission.number}: {of.name}") if of else ()


def _part(document: Mapping[str, Any], of: Collection[str]) -> Mapping[str, Any]:
    """The row of a sample, or that of a set, in a frozen document."""
    rows = (row for row in document["rows"] if row["number"] in of)
    return next(rows, None) or next((grade for grade in document.get("grades", ()) if grade["name"] in of), {})


def _limit(document: Mapping[str, Any], column: str, conformity: str, element: str) -> str:
    columns = (*document["columns"], *document.get("grade_columns", ()))
    heads = (each["formula"] for each in columns if each["key"] == column)
    names = dict.fromkeys(name for name in (*heads, element) if name)
    said = (limit_said(document["conformity_text"], name, conformity) for name in names)
    return next(filter(None, said), "")
