"""From derived results to the facts of a certificate; nothing is rounded. No query."""

from collections.abc import Iterator, Sequence

from labresults.queries.derived import DerivedOf
from labresults.queries.reportable import Reportable
from reports.facts import DerivedFact

FAILED = "Computed from {}, of which a control sample failed and was accepted by name."
NOT_COMPARED = "Not compared with a limit: its samples are compared with different ones."
LATE = "Computed from {}, which was measured after its holding time."
MOST_NAMED = 4


def derived_facts(found: Reportable) -> Iterator[DerivedFact]:
    """Each derived result, with what must be said of the results that it stands on."""
    late = {found.results[key].pk for key in found.late if key in found.results}
    for one in found.derived:
        yield DerivedFact(
            definition=one.definition,
            found=one.derived,
            sample=one.sample.number if one.sample else "",
            sample_set=one.of if one.sample_set else "",
            members=in_words([str(member.sample) for member in one.members]),
            mass_kg=one.mass_kg,
            remarks=tuple(_remarks(one, found, late)),
            limit_set=_limit_set(one, found),
        )


def _limit_set(one: DerivedOf, found: Reportable) -> str:
    """What it is compared with; a set of samples, where all of them are compared with the same."""
    of = [one.sample] if one.sample else [member.sample for member in one.members]
    chosen = {str(found.limit_set_of(sample) or "") for sample in of}
    return chosen.pop() if len(chosen) == 1 else ""


def _remarks(one: DerivedOf, found: Reportable, late: set[int]) -> Iterator[str]:
    given = [each.given for each in one.derived.entered if each.given.key is not None]
    failed = [each.label for each in given if each.key in found.failures and found.failures[each.key]["accepted"]]
    for labels, words in ((failed, FAILED), ([each.label for each in given if each.key in late], LATE)):
        if labels:
            yield words.format(in_words(labels))
    if one.sample_set and not _limit_set(one, found) and any(of.derived_code == one.row.code for of in found.limits):
        yield NOT_COMPARED


def in_words(names: Sequence[str]) -> str:
    """A few names, each once; of many the first and the last: "KF26-00001 … KF26-00060 (60)"."""
    each = list(dict.fromkeys(names))
    if len(each) > MOST_NAMED:
        return f"{each[0]} … {each[-1]} ({len(each)})"
    return ", ".join(each)
