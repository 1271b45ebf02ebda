"""Whether what is to be derived can come from the methods that are asked for."""

from labresults.acts import BadInput
from labresults.models import DerivedDefinition, Determination
from labresults.queries.wanted import Wanted


def lacking_for(wanted: Wanted) -> list[tuple[DerivedDefinition, list[str]]]:
    """Definitions that no method asked for gives an element of, with those elements; one query, none without any.

    A definition that does without some elements lacks nothing while one of them is there.
    """
    if not wanted.derived:
        return []
    given = _given(wanted)
    found = []
    for row in wanted.derived:
        needed = {(term["element"], tuple(term.get("by", ()))) for term in row.terms}
        lacking = sorted({element for element, by in needed if not _is_given(element, by, given)})
        if lacking and (row.all_needed or len(lacking) == len({element for element, _ in needed})):
            found.append((row, lacking))
    return found


def refuse_underived(wanted: Wanted) -> None:
    """Raise BadInput naming what cannot be derived from the methods that are asked for; one query, or none.

    Also where two versions of one definition are asked for: their columns could not be told apart.
    """
    codes = [row.code for row in wanted.derived]
    twice = sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        raise BadInput(f"Of {', '.join(twice)} two versions are chosen: leave one of them out.")
    lacking = lacking_for(wanted)
    if lacking:
        said = "; ".join(f"{row.reported_as} needs {', '.join(elements)}" for row, elements in lacking)
        raise BadInput(f"{said}: none of the methods asked for gives that. Ask for one that does, or leave it out.")


def _given(wanted: Wanted) -> set[tuple[str, str]]:
    """Elements and codes of the methods that give them: of the newest version of each."""
    newest: dict[str, tuple[int, set[str]]] = {}
    rows = Determination.objects.filter(method_version__method__in=wanted.all_methods())
    values = rows.values_list("method_version__method__code", "method_version__version", "element_id")
    for code, version, element in values:
        if version > newest.get(code, (0, set()))[0]:
            newest[code] = (version, set())
        if version == newest[code][0]:
            newest[code][1].add(element)
    return {(element, code) for code, (_, elements) in newest.items() for element in elements}


def _is_given(element: str, by: tuple[str, ...], given: set[tuple[str, str]]) -> bool:
    return any(which == element and (not by or code in by) for which, code in given)
