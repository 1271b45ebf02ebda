"""From derived results to the facts of a certificate; nothing is rounded. No query."""

from collections.abc import Iterator, Sequence

from labresults.queries.derived import DerivedOf
from labresults.queries.reportable import Reportable
from reports.facts import DerivedFact

FAILED = "Computed from {}, of which a control sample failed and was accepted by name."
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
        )


def _remarks(one: DerivedOf, found: Reportable, late: set[int]) -> Iterator[str]:
    given = [each.given for each in one.derived.entered if each.given.key is not None]
    failed = [each.label for each in given if each.key in found.failures and found.failures[each.key]["accepted"]]
    for labels, words in ((failed, FAILED), ([each.label for each in given if each.key in late], LATE)):
        if labels:
            yield words.format(in_words(labels))


def in_words(names: Sequence[str]) -> str:
    """A few names, each once; of many the first and the last: "KF26-00001 … KF26-00060 (60)"."""
    each = list(dict.fromkeys(names))
    if len(each) > MOST_NAMED:
        return f"{each[0]} … {each[-1]} ({len(each)})"
    return ", ".join(each)
