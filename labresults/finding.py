"""The index behind the one box that finds things: what is searched of each table, and how each database keeps it.

Every thing is searched as one text: its number and names, folded (`fold`), each on a line of its own after a blank, as
in `"\\n kf26-00041\\n ridge 112.0 m\\n"`. What is indexed are the trigrams (every three letters in a row) of that text
with a blank for each separator (`spaced`): so a word begins after a blank, a whole name stands between line ends, and
any part is a run of letters. Where a separator is asked for, the text itself is looked at as well.

SQLite: full-text tables of our own (FTS5), kept true by triggers. They name those tables and their helpers only, step
aside before a migration, since a trigger breaks SQLite's remake of a table, and the tables are filled anew after it.
PostgreSQL: an inverted index (GIN) on each table itself, by functions of ours; no extension is needed.
Their names end in a digest of their definition: what is not as defined is made anew, what is stays untouched.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import Any
from unicodedata import decomposition, normalize

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model

from labresults.terms import Correction

SEPARATORS = " -_/.,:;#+()'\""
"""After one of these, and at the beginning, a word begins."""

STRIDE = 1 << 40
"""SQLite: so many rows of a full-text table are kept for each source."""


@dataclass(frozen=True)
class Source:
    """What is searched of one table: columns by their names in the model.

    number: column of the number or code. names: columns of each name, joined by a blank. second: another number of its
    own, among the names too. only: a column and the one value that it must have. numbered: whether Django keeps the
    index that finds the beginning of the number on PostgreSQL; where not, we do.
    """

    kind: str
    label: str
    number: str | None
    names: tuple[tuple[str, ...], ...] = ()
    second: str | None = None
    only: tuple[str, str] | None = None
    numbered: bool = True

    @property
    def model(self) -> type[Model]:
        """The model that holds it."""
        return apps.get_model(self.label)

    @property
    def table(self) -> str:
        """Name of its table."""
        return str(self.model._meta.db_table)

    @property
    def key(self) -> str:
        """Column of its key."""
        return str(self.model._meta.pk.column)

    @property
    def full_text(self) -> str:
        """SQLite: the full-text table that holds its text. The many samples have one, so that all else is quick."""
        return "find_samples" if self.kind == "sample" else "find_others"

    @property
    def first_row(self) -> int:
        """SQLite: the row in the full-text table is the key plus this."""
        return SOURCES.index(self) * STRIDE

    @property
    def columns(self) -> list[str]:
        """Every column that is searched."""
        return [name for names in self.lines for name in names]

    @property
    def lines(self) -> tuple[tuple[str, ...], ...]:
        """The columns of each line of its text."""
        return ((self.number,), *self.names) if self.number else self.names


SOURCES = (
    Source("sample", "labresults.Sample", "number", (("client_identification",),)),
    Source("was called", "labresults.SampleCorrection", None, (("before",),), only=("what", Correction.IDENTIFICATION)),
    Source("submission", "labresults.Submission", "number", (("reference",),)),
    Source("client", "labresults.Client", "code", (("name",), ("contact",))),
    Source("batch", "labresults.PreparationBatch", "number"),
    Source("run", "labresults.Run", "number"),
    Source("certificate", "reports.Certificate", "number", (("check_code",),), second="check_code", numbered=False),
    Source("lot", "labresults.Lot", "number", (("certificate",),)),
    Source("material", "labresults.Material", "code", (("name",),)),
    Source("equipment", "labresults.Equipment", "code", (("name",),)),
    Source("method", "labresults.Method", "code", (("title",),)),
    Source("person", "labresults.Person", "username", (("first_name", "last_name"),)),
)


def fold(text: str) -> str:
    """Text as it is searched: small letters without marks (é as e), the same on both databases."""
    parts = normalize("NFD", text)
    bare = "".join(letter for letter in parts if not "\u0300" <= letter <= "\u036f")
    return normalize("NFC", bare).translate(_small())


def install(connection: BaseDatabaseWrapper) -> None:
    """Make the index as it is defined here; quick when it stands already. Waits until all tables are there."""
    if not missing(connection) or not is_wanted(connection):
        return
    remove(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for statement in _functions():
                cursor.execute(statement)
        else:
            _make_full_text(cursor)
        for statement in _definitions(connection.vendor).values():
            cursor.execute(statement)
        if connection.vendor == "sqlite":
            for source in SOURCES:
                cursor.execute(_filling(source))


def is_wanted(connection: BaseDatabaseWrapper) -> bool:
    """Whether all tables are there that it searches: some are not until their migration has run."""
    with connection.cursor() as cursor:
        present = set(connection.introspection.table_names(cursor))
    return {source.table for source in SOURCES} <= present


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the index away. On SQLite this must be done before a migration; `install` fills it anew."""
    kind = "index" if connection.vendor == "postgresql" else "trigger"
    with connection.cursor() as cursor:
        for name in _standing(connection):
            cursor.execute(f'drop {kind} "{name}"')


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the parts of the index that do not stand as they are defined here."""
    return sorted(set(_definitions(connection.vendor)) ^ set(_standing(connection)))


def text_of(source: Source, vendor: str, row: str = "") -> str:
    """SQL of a thing's searched text, folded. row: what stands before each column, as in `new.`."""
    lines = [" || ' ' || ".join(f'{row}"{column}"' for column in columns) for columns in source.lines]
    if vendor == "postgresql":
        return "find_fold(E'\\n'" + "".join(f" || E' ' || {line} || E'\\n'" for line in lines) + ")"
    written = "char(10)" + "".join(f" || ' ' || {line} || char(10)" for line in lines)
    return (
        f"case when {written} not glob '*[^' || char(10) || ' -~]*' then lower({written}) else (select"
        f" group_concat(letter, '') from (select coalesce(plain, substr({written}, place, 1)) as letter from find_place"
        f" left join find_letter on find_letter.written = substr({written}, place, 1)"
        f" where place <= length({written}) order by place)) end"
    )


def trigrams_of(source: Source) -> str:
    """SQL of the trigrams that PostgreSQL indexes: those of the spaced text."""
    return f'find_trigrams({text_of(source, "postgresql")}) collate "C"'


def spaced(text: str) -> str:
    """A folded text with a blank for each separator."""
    return text.translate({ord(separator): " " for separator in SEPARATORS})


def _standing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of our triggers (SQLite) or indexes (PostgreSQL) that stand."""
    query = (
        "select indexname from pg_indexes where indexname like 'find\\_%' and schemaname = current_schema() order by 1"
        if connection.vendor == "postgresql"
        else "select name from sqlite_master where type = 'trigger' and name glob 'find_*' order by 1"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return [str(name) for (name,) in cursor.fetchall()]


@cache
def _definitions(vendor: str) -> dict[str, str]:
    """What makes each trigger or index, by its name; the name ends in a digest of all that it stands on."""
    made = dict(_indexes() if vendor == "postgresql" else _triggers())
    ground = repr((sorted(made.items()), _functions() if vendor == "postgresql" else sorted(_letters().items())))
    digest = sha256(ground.encode()).hexdigest()[:8]
    return {f"{name}_{digest}": statement.replace("?", f"{name}_{digest}", 1) for name, statement in made.items()}


def _indexes() -> Iterator[tuple[str, str]]:
    for source in SOURCES:
        name = f"find_{source.table}"
        only = f' where "{source.only[0]}" = {_quoted(source.only[1])}' if source.only else ""
        yield name, f'create index "?" on "{source.table}" using gin (({trigrams_of(source)})){only}'
        if not source.numbered:
            yield f"{name}_number", f'create index "?" on "{source.table}" ("{source.number}" varchar_pattern_ops)'


def _functions() -> list[str]:
    """PostgreSQL's own folding and trigrams. They stand on built-in functions only, and give the same for ever."""
    small = _small()
    capitals = "".join(map(chr, small))
    never_changes = "language plpgsql immutable strict parallel safe"
    return [
        f"create or replace function find_fold(written text) returns text {never_changes} as $$ begin"
        ' if octet_length(written) = length(written) then return lower(written collate "C"); end if;'
        " return translate(normalize(regexp_replace(normalize(written, NFD), '[\u0300-\u036f]', '', 'g'), NFC),"
        f" '{capitals}', '{capitals.translate(small)}'); end $$",
        f"create or replace function find_spaced(written text) returns text {never_changes} as $$ begin"
        f" return translate(written, {_quoted(SEPARATORS)}, {_quoted(' ' * len(SEPARATORS))}); end $$",
        f"create or replace function find_trigrams(written text) returns text[] {never_changes} cost 1000 as $$"
        " declare found text[] := '{}'; spaced text := find_spaced(written); begin"
        " for place in 1..length(spaced) - 2 loop found[place] := substr(spaced, place, 3); end loop;"
        " return found; end $$",
    ]


def _triggers() -> Iterator[tuple[str, str]]:
    for source in SOURCES:
        name, table, columns = f"find_{source.table}", source.table, source.columns
        which = f'"{source.only[0]}" = {_quoted(source.only[1])}' if source.only else "1"
        new, old = _put(source), _take(source)
        changed = " or ".join(f'old."{column}" is not new."{column}"' for column in columns)
        listed = ", ".join(f'"{column}"' for column in columns)
        when = "" if which == "1" else f"when new.{which} "
        yield f"{name}_new", f'create trigger "?" after insert on "{table}" {when}begin {new}; end'
        when = "" if which == "1" else f"when old.{which} "
        yield f"{name}_gone", f'create trigger "?" after delete on "{table}" {when}begin {old}; end'
        if which == "1":  # a table of which only some rows are searched is a guarded one: its rows never change
            yield (
                f"{name}_other",
                f'create trigger "?" after update of {listed} on "{table}" when {changed} begin {old}; {new}; end',
            )


def _put(source: Source) -> str:
    row = f'new."{source.key}" + {source.first_row}'
    return f"insert into {source.full_text} (rowid, words) values ({row}, {_spaced_text_of(source, 'new.')})"


def _take(source: Source) -> str:
    """The full-text table keeps no text of its own: it is told what it held."""
    row = f'old."{source.key}" + {source.first_row}'
    text = _spaced_text_of(source, "old.")
    return f"insert into {source.full_text} ({source.full_text}, rowid, words) values ('delete', {row}, {text})"


def _filling(source: Source) -> str:
    only = f' where "{source.only[0]}" = {_quoted(source.only[1])}' if source.only else ""
    row = f'"{source.key}" + {source.first_row}'
    select = f'select {row}, {_spaced_text_of(source)} from "{source.table}"{only}'
    return f"insert into {source.full_text} (rowid, words) {select}"


def _spaced_text_of(source: Source, row: str = "") -> str:
    """SQLite: the text that is indexed."""
    text = text_of(source, "sqlite", row)
    for separator in SEPARATORS.strip():
        text = f"replace({text}, {_quoted(separator)}, ' ')"
    return text


def _make_full_text(cursor: Any) -> None:
    """The empty full-text tables, and what folds letters outside ASCII, which SQLite itself cannot."""
    for table in ("find_samples", "find_others", "find_letter", "find_place"):
        cursor.execute(f"drop table if exists {table}")
    for table in ("find_samples", "find_others"):
        cursor.execute(
            f"create virtual table {table} using fts5 (words, content = '', tokenize = 'trigram case_sensitive 1')"
        )
    cursor.execute("create table find_letter (written text primary key, plain text not null) without rowid")
    cursor.executemany("insert into find_letter values (%s, %s)", list(_letters().items()))
    cursor.execute("create table find_place (place integer primary key)")
    cursor.executemany("insert into find_place values (%s)", [(place,) for place in range(1, 1_001)])


@cache
def _letters() -> dict[str, str]:
    """Every letter below U+2200 that folds to another, or to nothing, and to what."""
    letters = (chr(code) for code in range(0x41, 0x2200))
    return {letter: fold(letter) for letter in letters if fold(letter) != letter}


@cache
def _small() -> dict[int, int]:
    """The small letter of each capital that carries no mark: Latin, Greek, Cyrillic; and the last sigma of a word."""
    capitals = (chr(code) for code in [*range(0x41, 0x5B), *range(0xC0, 0x180), *range(0x370, 0x530)])
    bare = [letter for letter in capitals if not decomposition(letter) and len(letter.lower()) == 1]
    return {ord(letter): ord(letter.lower()) for letter in bare if letter.lower() != letter} | {ord("ς"): ord("σ")}


def _quoted(text: str) -> str:
    doubled = text.replace("'", "''")
    return f"'{doubled}'"
