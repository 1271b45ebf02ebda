"""Printed derived results computed again from the results that they were computed from. Reads only."""

import json
from collections.abc import Iterator
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
    lines = derived_lines(certificate)
    return [words for line, again in zip(lines, derive_again(lines, certificate), strict=True)
            for words in _differences(line, again, rules)]  # fmt: skip


def derived_lines(certificate: Certificate, key: int | None = None) -> list[CertificateLine]:
    """The printed derived results of an issue with their inputs, or one of them by its key; four queries."""
    lines = certificate.lines.filter(derived__isnull=False).select_related("derived", "sample", "sample_set")
    lines = lines if key is None else lines.filter(pk=key)
    inputs = ("inputs__result__evaluation__run__method_version__method", "inputs__result__position")
    return list(lines.prefetch_related(*inputs, "inputs__result__sample", "sample_set__members").order_by("pk"))


def derive_again(lines: list[CertificateLine], certificate: Certificate) -> list[Derived]:
    """Each line's derived result from its inputs, by the edition it was printed by; no query, two on dry basis."""
    edition = json.loads(certificate.document).get("derivation", 1)
    is_dry = any(line.derived.form == DerivedForm.DRY for line in lines)
    samples = {line.sample_id for line in lines if line.sample_id}
    moistures = moistures_of(samples, certificate.made_at) if is_dry else {}
    return [
        derive_from(as_definition(line.derived), _results(line), _masses(line), moistures, edition) for line in lines
    ]


def _results(line: CertificateLine) -> list["Result"]:
    return [each.result for each in line.inputs.all()]


def _masses(line: CertificateLine) -> dict[int, float]:
    return {m.sample_id: m.mass_kg for m in line.sample_set.members.all()} if line.sample_set else {}


def _differences(line: CertificateLine, again: Derived, rules: RuleSet) -> Iterator[str]:
    place = f"{line.derived.reported_as} ({line.derived}) in {line.sample or line.sample_set}"
    for name, stored, found in (("value", line.value, again.value), ("uncertainty", line.u, again.u)):
        if stored != found:
            yield f"{place}: its {name} is {stored!r}, and its inputs give {found!r}"
    printed, _ = print_found(again, rules)
    if printed.printed != line.printed:
        yield f"{place}: printed “{line.printed}”, and its inputs give “{printed.printed}”"
