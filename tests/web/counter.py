"""What a browser sends from the counter's page."""

from typing import Any

from tests.builders import Laboratory


def form(lab: Laboratory, **differing: Any) -> dict[str, Any]:
    """The fields above the rows, for the laboratory's client and method."""
    return {
        "client": lab.client.pk,
        "methods": [lab.method.pk],
        "basis": "as received",
        "reference": "26-118",
        **differing,
    }


def grid(*identifications: str, matrix: str = "soil", **differing: list[str]) -> dict[str, list[str]]:
    """The fields of the grid without a script: one list a column."""
    count = len(identifications)
    return {
        "client_identification": list(identifications),
        "matrix": [matrix] * count,
        "delivered_g": ["30"] * count,
        "delivered_mL": [""] * count,
        "note": [""] * count,
        **differing,
    }


def wrong_rows(answer: Any) -> dict[int, str]:
    """Problems by row, as the page shows them."""
    shown_rows = answer.context["grid"].shown
    return {row.number: " ".join(map(str, row.problems)) for row in shown_rows if row.problems}


def shown(answer: Any, name: str) -> str:
    """What stands in a field of the form above the rows."""
    return str(answer.context["form"][name].value())


def sent_again(answer: Any) -> dict[str, Any]:
    """The rows as the page sends them again without a script: all of them packed, and those shown in fields."""
    on_page = answer.context["grid"]
    fields: dict[str, Any] = {"rows": on_page.packed if on_page.windows else "", "shown": on_page.show}
    fields["row"] = [str(row.number) for row in on_page.shown]
    for place, column in enumerate(on_page.columns):
        fields[column.field] = [row.cells[place].text for row in on_page.shown]
    return fields
