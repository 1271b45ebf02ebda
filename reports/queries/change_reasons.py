"""Why a printed string of an amendment differs from the issue before, as far as the record itself says it."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from labresults.queries.reportable import Reportable
from labresults.queries.samples import corrections_since
from labresults.terms import Correction
from reports.changes import NOTHING, Place
from reports.document import Cell, CertificateDocument
from reports.queries.result_facts import in_words, own_only

if TYPE_CHECKING:
    from labresults.models import Result
    from reports.models import Certificate


def derived_reasons(document: CertificateDocument, replaces: "Certificate", found: Reportable) -> dict[Place, str]:
    """A reason for each change that the record explains; three queries.

    A new run, a new evaluation, a choice made by a person, a correction of a sample, a later request, other rules.
    What is not explained is left out: a person says it.
    """
    if not document.changes:
        return {}
    previous = CertificateDocument.from_json(replaces.document)
    before, now = _cells(previous), _cells(document)
    results = {result.pk: result for result in found.results.values()}
    earlier = _earlier(replaces)
    corrected = _corrections(replaces, found)
    requests = _requests(replaces, found)
    same_rules = previous.rule_name == document.rule_name
    reasons = {}
    for change in document.changes:
        place = (change.sample, change.column)
        cell = (change.sample, change.column.removesuffix(", U").removesuffix(", remark"))
        old, new = before.get(cell), now.get(cell)
        asked_later = requests.get(change.sample, "")
        said = corrected.get(change.sample, "") if cell not in before and cell not in now else ""
        if old and new:
            said = _of_result(earlier.get(old.result or 0), results.get(new.result or 0), found)
            if not said and previous.preliminary and not old.result:
                said = "It was still to follow in the preliminary issue."
        if not said and change.old == NOTHING:
            said = corrected.get(change.sample, "") or asked_later
        if not said and not same_rules and change.sample:
            said = f"Other reporting rules: {previous.rule_name}, now {document.rule_name}."
        if said or asked_later:
            reasons[place] = said or asked_later
    return reasons


def _cells(document: CertificateDocument) -> dict[Place, Cell]:
    return {(row.number, cell.column): cell for row in document.rows for cell in row.cells if cell.printed}


def _earlier(replaces: "Certificate") -> "Mapping[int, Result]":
    """The results that the issue before printed, by key; one query."""
    lines = replaces.lines.filter(result__isnull=False).select_related("result__evaluation__run")
    return {line.result_id: line.result for line in lines if line.result_id}


def _of_result(old: "Result | None", new: "Result | None", found: Reportable) -> str:
    """Why another result stands; "" where it is the same one."""
    if old is None or new is None or old.pk == new.pk:
        return ""
    was, now = old.evaluation, new.evaluation
    if was.run_id != now.run_id:
        return own_only(f"Measured again in run {now.run.number}. {new.position.repeat_cause}".strip(), found)
    if was.pk != now.pk:
        return own_only(f"Run {now.run.number} was evaluated again. {now.reason}".strip(), found)
    return f"Another result of run {now.run.number} was chosen."


def _corrections(replaces: "Certificate", found: Reportable) -> dict[str, str]:
    """What was corrected of each sample since the issue before, by its number; one query."""
    said: dict[str, list[str]] = {}
    for row in corrections_since(replaces.made_at, found.submissions):
        words = row.reason if row.what == Correction.IDENTIFICATION else f"{row.what.capitalize()}: {row.reason}"
        said.setdefault(row.sample.number, []).append(own_only(words, found))
    return {number: " ".join(words) for number, words in said.items()}


def _requests(replaces: "Certificate", found: Reportable) -> dict[str, str]:
    """The request that is newer than the issue before, in words, by sample; no query."""
    said = {}
    for sample in found.samples:
        request = found.request_of(sample)
        if request.made_at > replaces.made_at:
            why = f": {own_only(request.reason, found)}" if request.reason else "."
            said[sample.number] = f"Asked for later, on {in_words(request.made_at.date())}{why}"
    return said
