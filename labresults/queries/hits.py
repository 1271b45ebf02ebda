"""Which rows hold what was asked, by the index of `labresults.finding`: kinds and keys only, the newest of each first.

The one place that knows how each database is asked. At most `MOST` keys of a kind for each way of holding:

- whole: a name is just what was asked; - word: a word begins with it; - part: it stands anywhere.

Trigrams need three letters. With a blank before it a word begins with two; a single letter finds numbers only.

PostgreSQL brings rows from its index in no order. So first the newest rows are read one by one, which finds what is
common, and only what is not found there is asked of the index, which is quick with what is rare. Where more than
`_TOO_MANY` older rows hold a part and none of the newest does, the first of these stand for the newest.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import connection

from labresults.finding import SOURCES, STRIDE, Source, fold, spaced, text_of, trigrams_of

MOST = 25
_NEWEST = 5_000
_TOO_MANY = 8_000
_LAST_LETTER = "\U0010ffff"

Keys = list[tuple[str, int]]
"""Kind and key of each row."""

_Branch = tuple[str, Sequence[Any]]


def numbered(asked: str) -> Keys:
    """Rows of which the number is just what was asked, in small or capital letters; one query."""
    return _union(_numbered(asked))


def beginning(asked: str) -> Keys:
    """Rows of which the number begins with what was asked, the highest number first; one query."""
    return _union(_beginning_on_postgresql(asked) if connection.vendor == "postgresql" else _beginning(asked))


def holding(asked: str, found: Iterable[tuple[str, int]] = ()) -> Keys:
    """Rows that hold what was asked, the best way first. A kind of which enough is found, here or before, is left.

    Three queries, PostgreSQL five.
    """
    ways = _ways(fold(asked))
    enough = Counter(kind for kind, _ in set(found))
    return _holding_on_postgresql(ways, enough) if connection.vendor == "postgresql" else _holding(ways, enough)


def _union(branches: Iterable[_Branch]) -> list[tuple[Any, ...]]:
    statements, values = [], []
    for place, (statement, more) in enumerate(branches):
        statements.append(f"select * from ({statement}) as branch_{place}")
        values += more
    if not statements:
        return []
    with connection.cursor() as cursor:
        cursor.execute(" union all ".join(statements), values)
        return list(cursor.fetchall())


def written(asked: str) -> list[str]:
    """A number as ordinary indexes may know it: as asked, in capitals, in small letters; no query."""
    return sorted({asked, asked.upper(), asked.lower()})


def _numbered(asked: str) -> Iterator[_Branch]:
    forms = written(asked)
    marks = ", ".join(["%s"] * len(forms))
    for source in SOURCES:
        for column in filter(None, (source.number, source.second)):
            yield (
                f'select \'{source.kind}\', "{source.key}" from "{source.table}" where "{column}" in ({marks})'
                f' order by "{source.key}" desc limit {MOST}',
                forms,
            )


def _beginning(asked: str) -> Iterator[_Branch]:
    for source in SOURCES:
        for number in written(asked) if source.number else ():
            yield (
                f'select \'{source.kind}\', "{source.key}" from "{source.table}" where "{source.number}" >= %s'
                f' and "{source.number}" < %s order by "{source.number}" desc limit {MOST}',
                (number, number + _LAST_LETTER),
            )


def _beginning_on_postgresql(asked: str) -> Iterator[_Branch]:
    for source in SOURCES:
        for number in written(asked) if source.number else ():
            yield (
                f'select \'{source.kind}\', "{source.key}" from "{source.table}" where "{source.number}" like %s'
                f' order by "{source.number}" using ~>~ limit {MOST}',
                (f"{_like(number)}%",),
            )


@dataclass(frozen=True)
class _Way:
    """A way of holding what was asked: letters that it must have in a row, and a condition on the text `words`."""

    name: str
    letters: str
    condition: str
    values: tuple[str, ...]

    @property
    def is_best(self) -> bool:
        """Whether it is better than a number that begins with what was asked: then it is always asked."""
        return self.name == "whole"


def _ways(folded: str) -> list[_Way]:
    """The ways that can be asked of trigrams, the best first."""
    part = f"%{_like(folded)}%"
    ways = [_Way("whole", f"\n {folded}\n", "words like %s", (f"%\n {_like(folded)}\n%",))]
    if len(folded) >= 2:
        begun = _Way("word", f" {folded}", "find_spaced(words) like %s", (f"% {_like(spaced(folded))}%",))
        if folded != spaced(folded):
            begun = replace(begun, condition=f"{begun.condition} and words like %s", values=(*begun.values, part))
        ways.append(begun)
    if len(folded) >= 3:
        ways.append(_Way("part", folded, "words like %s", (part,)))
    return ways


def _holding(ways: list[_Way], enough: Counter[str]) -> Keys:
    found: set[tuple[str, int]] = set()
    kept: Keys = []
    for way in ways:
        more = _union(_full_text(source, way) for source in SOURCES if way.is_best or enough[source.kind] < MOST)
        enough.update(kind for kind, _ in set(more) - found)
        found.update(more)
        kept += more
    return kept


def _full_text(source: Source, way: _Way) -> _Branch:
    """A phrase of trigrams is the very run of letters. Each source has its own stretch of rows."""
    plain = spaced(way.letters)
    table, row = source.full_text, f"{source.full_text}.rowid"
    values = (_phrase(plain), source.first_row, source.first_row + STRIDE - 1)
    thing, holds = "", ""
    if plain != way.letters:  # a separator was asked for, and the index knows it as a blank only
        thing = f'cross join "{source.table}" on "{source.key}" = {row} - {source.first_row}'
        holds = f"and instr({text_of(source, 'sqlite')}, %s)"
        values += (way.letters.removeprefix(" "),)
    return (
        f"select '{source.kind}', {row} - {source.first_row} from {table} {thing}"
        f" where {table} match %s and {row} between %s and %s {holds} order by {row} desc limit {MOST}",
        values,
    )


def _phrase(text: str) -> str:
    doubled = text.replace('"', '""')
    return f'"{doubled}"'


def _holding_on_postgresql(ways: list[_Way], enough: Counter[str]) -> Keys:
    """First among the newest rows, then by trigrams what was not found often enough there."""
    newest = dict(_union(_newest_key(source) for source in SOURCES))
    common = _among_the_newest(ways, newest)
    kept: Keys = []
    for way in ways:
        more = [(kind, key) for name, kind, key in common if name == way.name]
        here = Counter(kind for kind, _ in more)
        rest = [
            source
            for source in SOURCES
            if newest[source.kind] > _NEWEST
            and here[source.kind] < MOST
            and (way.is_best or enough[source.kind] < MOST)
        ]
        more += _union(_by_trigrams(source, way) for source in rest)
        enough.update(kind for kind, _ in set(more) - set(kept))
        kept += more
    return kept


def _newest_key(source: Source) -> _Branch:
    return f'select \'{source.kind}\', coalesce(max("{source.key}"), 0) from "{source.table}"', ()


def _among_the_newest(ways: list[_Way], newest: Mapping[str, int]) -> list[tuple[str, str, int]]:
    """Way, kind and key of what the newest rows hold, read once for all ways."""
    readings, branches, values = [], [], []
    for place, source in enumerate(source for source in SOURCES if newest[source.kind]):
        readings.append(
            f'newest_{place} as materialized (select "{source.key}" as key, {text_of(source, "postgresql")} as words'
            f' from "{source.table}" where "{source.key}" > {newest[source.kind] - _NEWEST}{_only(source)})'
        )
        for way in ways:
            branches.append(
                f"select * from (select '{way.name}', '{source.kind}', key from newest_{place} where {way.condition}"
                f" order by key desc limit {MOST}) as branch_{place}_{way.name}"
            )
            values += way.values
    if not readings:
        return []
    with connection.cursor() as cursor:
        cursor.execute(f"with {', '.join(readings)} {' union all '.join(branches)}", values)
        return list(cursor.fetchall())


def _by_trigrams(source: Source, way: _Way) -> _Branch:
    letters = spaced(way.letters)
    trigrams = [letters[place : place + 3] for place in range(len(letters) - 2)]
    condition = way.condition.replace("words", text_of(source, "postgresql"))
    return (
        f'with held as materialized (select "{source.key}" as key from "{source.table}"'
        f" where {trigrams_of(source)} @> %s::text[] and {condition}{_only(source)} limit {_TOO_MANY})"
        f" select '{source.kind}', key from held order by key desc limit {MOST}",
        (trigrams, *way.values),
    )


def _only(source: Source) -> str:
    if not source.only:
        return ""
    column, value = source.only
    quoted = value.replace("'", "''")
    return f" and \"{column}\" = '{quoted}'"


def _like(text: str) -> str:
    """Text of which no letter is a wildcard."""
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
