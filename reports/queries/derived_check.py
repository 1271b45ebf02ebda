"""Printed derived results computed again from the results that they were computed from. Reads only."""

import json
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from labresults.calculation.derived import Derived
from labresults.queries.derived import as_definition, moistures_of
from labresults.queries.derived_inputs import derive_from
from labresults.terms import DerivedForm
from reports.derived import print_found
from reports.models import Certificate, CertificateLine
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Result


def derived_differs(certificate: Certificate) -> list[str]:
    """What of the printed derived results is not what their inputs give, in words; empty: all of it is.

    Value and uncertainty bit for bit, and the printed string. Four queries, whatever the number of lines, and up to two
    more on dry basis.
    """
    rules = RuleSet.from_json(certificate.rule_set.specification)
    lines, stated = derived_lines(certificate), _stated_columns(certificate)
    return [words for line, again in zip(lines, derive_again(lines, certificate), strict=True)
            for words in _differences(line, again, rules, line.column in stated)]  # fmt: skip


def _stated_columns(certificate: Certificate) -> set[str]:
    """Columns of an issue in which statements of conformity stand."""
    document = json.loads(certificate.document)
    parts = (*document["rows"], *document.get("grades", ()))
    return {cell["column"] for part in parts for cell in part["cells"] if cell.get("statement")}


def derived_lines(certificate: Certificate) -> list[CertificateLine]:
    """The printed derived results of an issue with their inputs; four queries."""
    lines = certificate.lines.filter(derived__isnull=False).select_related("derived", "sample", "sample_set")
    inputs = ("inputs__result__evaluation__run__method_version__method", "inputs__result__position")
    return list(lines.prefetch_related(*inputs, "inputs__result__sample", "sample_set__members").order_by("pk"))


def derive_again(lines: list[CertificateLine], certificate: Certificate) -> list[Derived]:
    """Each line's derived result from its inputs, by the edition it was printed by; no query, two on dry basis."""
    edition = _edition(certificate)
    is_dry = any(line.derived.form == DerivedForm.DRY for line in lines)
    samples = {line.sample_id for line in lines if line.sample_id}
    moistures = moistures_of(samples, certificate.made_at) if is_dry else {}
    return [_derived(line, moistures, edition) for line in lines]


def derive_line_again(line: CertificateLine, moistures: Mapping[int, float]) -> Derived:
    """One line's derived result as `derive_again` gives it, moistures in % by sample; no query."""
    return _derived(line, moistures, _edition(line.certificate))


def _derived(line: CertificateLine, moistures: Mapping[int, float], edition: int) -> Derived:
    return derive_from(as_definition(line.derived), _results(line), _masses(line), moistures, edition)


def _edition(certificate: Certificate) -> int:
    return int(json.loads(certificate.document).get("derivation", 1))


def _results(line: CertificateLine) -> list["Result"]:
    return [each.result for each in line.inputs.all()]


def _masses(line: CertificateLine) -> dict[int, float]:
    return {m.sample_id: m.mass_kg for m in line.sample_set.members.all()} if line.sample_set else {}


def _differences(line: CertificateLine, again: Derived, rules: RuleSet, has_limit: bool) -> Iterator[str]:
    place = f"{line.derived.reported_as} ({line.derived}) in {line.sample or line.sample_set}"
    for name, stored, found in (("value", line.value, again.value), ("uncertainty", line.u, again.u)):
        if stored != found:
            yield f"{place}: its {name} is {stored!r}, and its inputs give {found!r}"
    # Beside a limit it may have one figure more; whether it must is seen where the whole is composed again.
    printed = [print_found(again, rules, extra)[0].printed for extra in ((0, 1) if has_limit else (0,))]
    if line.printed not in printed:
        yield f"{place}: printed “{line.printed}”, and its inputs give “{printed[0]}”"
