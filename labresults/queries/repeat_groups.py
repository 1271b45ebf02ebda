"""Repeats as lists show them: those asked for by the same reason together. No database query."""

from collections.abc import Iterable
from dataclasses import dataclass

from labresults.queries.repeats import OpenRepeat
from labresults.terms import Repeat


@dataclass(frozen=True)
class RepeatGroup:
    """Test solutions that are asked for again for the very same reason, in the same way; `first` speaks for all."""

    first: OpenRepeat
    repeats: list[OpenRepeat]

    @property
    def shows_factor(self) -> bool:
        """Whether the dilution must be said: not where an undiluted solution is read again as it was."""
        return self.first.factor is not None and (self.first.kind == Repeat.RE_DILUTE or self.first.factor != 1)


def gathered(repeats: Iterable[OpenRepeat]) -> list[RepeatGroup]:
    """Repeats of one run and reason together: those that wait first, then what became of the others; no query."""
    found: dict[tuple[object, ...], list[OpenRepeat]] = {}
    for r in repeats:
        key = (not r.is_open, r.run.pk, r.cause, r.kind, r.factor, r.why, r.lines, r.later, r.let_stand, r.settled)
        found.setdefault(key, []).append(r)
    return [RepeatGroup(rows[0], rows) for _, rows in sorted(found.items(), key=lambda group: bool(group[0][0]))]


def by_method(repeats: Iterable[OpenRepeat]) -> dict[str, list[RepeatGroup]]:
    """Repeats by the code of their method, the newest run of each first, gathered by their reason; no query."""
    found: dict[str, list[OpenRepeat]] = {}
    for repeat in repeats:
        found.setdefault(str(repeat.run.method_version.method), []).append(repeat)
    return {code: gathered(found[code]) for code in sorted(found)}
