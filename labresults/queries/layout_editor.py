"""A layout as it is made on a person's own file, and those that are saved."""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from django.db.models import Count, Max, OuterRef, QuerySet, Subquery

from labresults.acts import BadInput
from labresults.models import Layout, ReadingFile
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout_form import SETTINGS, answers_of, layout_from
from labresults.readers.problem import Problem
from labresults.readers.read import read
from labresults.readers.reading import ReadFile, Reading
from labresults.readers.recognise import recognise
from labresults.readers.recognised import ABOVE, Meaning, Recognised

__all__ = ["MEANINGS", "MEANINGS_ABOVE", "SETTINGS"]

MEANINGS = tuple(str(meaning) for meaning in Meaning)
MEANINGS_ABOVE = tuple(str(meaning) for meaning in ABOVE)
"""Everything that a column, or a line above the table, can be."""

_MUST_BE_SAID = ("name", "unit")

FIRST, SHOWN = 12, 20
"""Readings and problems that the preview shows."""

_HEADING_OF = {
    Meaning.POSITION: "position",
    Meaning.LABEL: "label",
    Meaning.TIME: "time",
    Meaning.LINE: "line",
    Meaning.ELEMENT: "element",
    Meaning.WAVELENGTH: "wavelength",
    Meaning.UNIT: "unit_column",
    Meaning.MEAN: "mean",
    Meaning.SD: "sd",
    Meaning.COUNT: "count",
    Meaning.CONCENTRATION: "concentration",
}
"""Which setting of a layout holds the heading of a column with this meaning."""


@dataclass(frozen=True)
class Draft:
    """A layout that is being made: what the file seems to be, what was answered, what the layout makes of the file.

    layout: None while it cannot be saved; lacks: what must be said for that.
    """

    recognised: Recognised
    answers: Mapping[str, str]
    layout: LayoutSpecification | None
    file: ReadFile | None
    problems: tuple[Problem, ...]
    lacks: tuple[str, ...] = ()

    @property
    def first(self) -> tuple[Reading, ...]:
        """The first readings, as they are understood."""
        return self.file.readings[:FIRST] if self.file else ()

    @property
    def shown(self) -> tuple[Problem, ...]:
        """The problems that are shown."""
        return self.problems[:SHOWN]


def layout_list() -> QuerySet[Layout]:
    """Layouts of readings in their newest versions, with how many files came in any version; one query."""
    newest = Layout.objects.filter(name=OuterRef("name")).order_by("-version").values("version")[:1]
    files = ReadingFile.objects.filter(layout__name=OuterRef("name")).order_by().values("layout__name")
    return (
        Layout.objects.filter(reads="readings", version=Subquery(newest))
        .annotate(file_count=Subquery(files.annotate(n=Count("pk")).values("n")))
        .select_related("made_by")
        .order_by("name")
    )


def versions_of(name: str) -> list[Layout]:
    """Every version of a layout of readings, the newest first; one query. Raises Layout.DoesNotExist."""
    found = list(Layout.objects.filter(reads="readings", name=name).select_related("made_by").order_by("-version"))
    if not found:
        raise Layout.DoesNotExist(f"There is no layout {name}.")
    return found


def settings_said(layout: Layout) -> list[tuple[str, str]]:
    """What a saved layout says, by the name of each setting that differs from what is taken without it; no query."""
    specification = LayoutSpecification.from_json(layout.specification)
    return [
        (setting.name.replace("_", " "), _said(value))
        for setting in fields(specification)
        if setting.name not in {"name", "version"}
        and (value := getattr(specification, setting.name)) != setting.default
    ]


def next_version(name: str) -> int:
    """The version that the next layout of this name will be; one query."""
    last = Layout.objects.filter(name=name).aggregate(last=Max("version"))["last"]
    return (last or 0) + 1


def recognised_with(content: bytes, filename: str, said: Mapping[str, str]) -> Recognised:
    """What a file seems to be, with what a person decided; no query."""
    return recognise(content, filename, said)


def draft(
    content: bytes, filename: str, said: Mapping[str, str], answers: Mapping[str, str], version: int = 1
) -> Draft:
    """What the file is with what was answered so far; no query.

    said: settings that a person decided, which the rest is recognised with. answers: those of columns too; what is
    not among them is the first offer.
    """
    recognised = recognise(content, filename, said)
    given = {**recognised.answers(), **answers}
    lacks = tuple(key for key in _MUST_BE_SAID if not given.get(key, "").strip())
    tried = {**given, **dict.fromkeys(lacks, "not said yet")}  # the preview does not wait for a name
    made = layout_from(tried, recognised, version) if not recognised.problems else ()
    if isinstance(made, tuple):
        return Draft(recognised, given, None, None, recognised.problems + made, lacks)
    file = read(content, filename, made)
    return Draft(recognised, given, None if lacks else made, file, file.problems, lacks)


def answers_on(layout: Layout, content: bytes, filename: str) -> tuple[dict[str, str], dict[str, str]]:
    """The settings of a saved layout as answers, and what the columns of a file are by it; no query."""
    specification = LayoutSpecification.from_json(layout.specification)
    settings = answers_of(specification)
    recognised = recognise(content, filename, settings)
    return settings, {
        column.key: str(meant) for column in recognised.columns if (meant := _meant(specification, column.heading))
    }


def made_layout(found: Draft) -> LayoutSpecification:
    """The layout of a draft, to be saved. Raises BadInput with what is wrong where there is none yet; no query."""
    if found.lacks:
        raise BadInput(f"The layout cannot be saved yet: say its {' and its '.join(found.lacks)}.")
    if found.layout is None:
        raise BadInput("The layout cannot be saved yet.", found.shown)
    return found.layout


def _meant(layout: LayoutSpecification, heading: str) -> Meaning | None:
    for meaning, setting in _HEADING_OF.items():
        if heading and getattr(layout, setting) == heading:
            return meaning
    if heading in layout.replicates:
        return Meaning.REPLICATE
    return Meaning.IGNORED if heading in layout.ignored else None


def _said(value: object) -> str:
    if value is True:
        return "yes"
    if isinstance(value, frozenset):
        return ", ".join(sorted(str(item) for item in value))
    if isinstance(value, tuple):
        return ", ".join(" is ".join(item) if isinstance(item, tuple) else f"“{item}”" for item in value)
    return {"\t": "tab", "": "none"}.get(str(value), str(value))
