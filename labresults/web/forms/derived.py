"""A derived result that is to be defined, term by term; and a set of samples with what each stands for."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labresults.models import Sample
from labresults.models.base import choices
from labresults.queries.derived_pages import Shown
from labresults.terms import BelowInSum, DerivedForm
from labresults.web.forms.numbers import read_number

BLANK_TERMS = 3
"""Empty rows at the end of the terms."""

TERM_FIELDS = ("part", "element", "as", "unit", "factor", "by")
HEADINGS = ("Part", "Element", "As", "Unit", "Factor", "By methods")


class DefinitionForm(forms.Form):
    """The next version of a derived result; its terms are rows of a small table."""

    code = forms.SlugField(max_length=20, help_text="Short, for columns and addresses: hardness.")
    name = forms.CharField(max_length=100)
    reported_as = forms.CharField(label="Heading of its column", max_length=24)
    unit = forms.CharField(max_length=20)
    form = forms.ChoiceField(choices=choices(DerivedForm))
    below = forms.ChoiceField(label="A term below its detection limit counts", choices=choices(BelowInSum))
    all_needed = forms.BooleanField(label="No value where a term has none", required=False, initial=True)
    source = forms.CharField(
        label="Source of the formula",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Title, year and section, or: common practice, no source.",
    )
    remark = forms.CharField(
        label="What certificates say beside it", required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    reason = forms.CharField(label="Why it is entered", required=False)

    def __init__(self, posted: Any, *, like: Shown | None = None) -> None:
        super().__init__(posted, initial=_initial(like))
        if like:
            self.fields["code"].disabled = True
        stored = zip(like.row.terms, like.factors, strict=True) if like else ()
        self.terms = _sent(posted) if posted else [_as_text(term, factor) for term, factor in stored]

    def rows(self) -> list[list[tuple[str, str]]]:
        """Names and texts of the terms, row by row, with empty rows to go on."""
        texts = [*self.terms, *([dict.fromkeys(TERM_FIELDS, "")] * BLANK_TERMS)]
        return [[(name, row[name]) for name in TERM_FIELDS] for row in texts]

    def clean(self) -> dict[str, Any]:
        """Factors are read here, so that each that is no number, or two, is named with its row."""
        for number, row in enumerate(self.terms, start=1):
            try:
                read_number(row["factor"] or "1")
            except ValueError as error:
                self.add_error(None, f"Term {number}, factor: {error}")
        return super().clean() or {}

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        given = dict(self.cleaned_data)
        terms = [_read(row) for row in self.terms]
        return {**given, "terms": terms, "form": DerivedForm(given["form"]), "below": BelowInSum(given["below"])}


def _initial(like: Shown | None) -> dict[str, Any]:
    if like is None:
        return {}
    names = ("code", "name", "reported_as", "unit", "form", "below", "all_needed", "source", "remark")
    return {name: getattr(like.row, name) for name in names}


def _as_text(term: Mapping[str, Any], factor: str) -> dict[str, str]:
    by = ", ".join(term.get("by", ()))
    return {name: str(term.get(name, "")) for name in TERM_FIELDS} | {"by": by, "factor": factor}


def _sent(posted: Any) -> list[dict[str, str]]:
    """Rows of the table as they were sent; those without an element and a unit are left out."""
    columns = [posted.getlist(f"term-{name}") for name in TERM_FIELDS]
    rows = [dict(zip(TERM_FIELDS, (text.strip() for text in row), strict=True)) for row in zip(*columns, strict=False)]
    return [row for row in rows if row["element"] or row["unit"]]


def _read(row: Mapping[str, str]) -> dict[str, Any]:
    by = [code.strip() for code in row["by"].split(",") if code.strip()]
    term = {name: row[name] for name in ("part", "element", "as", "unit") if row[name]}
    return term | {"factor": read_number(row["factor"] or "1"), "by": by}


class SetForm(forms.Form):
    """A set of samples: its name, and a line for each member, typed or pasted."""

    name = forms.CharField(label="Name of the set", max_length=60, help_text="For example: NRD021, 118 to 123 m.")
    members = forms.CharField(
        label="Samples and masses",
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
        help_text="A line each: laboratory number or client’s own identification, then the mass in kg, parted by a tab"
        " or a semicolon. No line ends the set.",
    )

    def __init__(self, posted: Any, *, samples: Sequence[Sample]) -> None:
        super().__init__(posted)
        self.known = {name: sample for sample in samples for name in (sample.client_identification, sample.number)}

    def clean_members(self) -> list[tuple[Sample, float]]:
        """Each member with its mass, kg."""
        found, problems = [], []
        for number, line in enumerate(self.cleaned_data["members"].splitlines(), start=1):
            if line.strip():
                try:
                    found.append(self._member(line))
                except ValueError as error:
                    problems.append(f"Line {number}: {error}")
        if problems:
            raise forms.ValidationError(problems)
        return found

    def _member(self, line: str) -> tuple[Sample, float]:
        name, parted, mass = line.replace("\t", ";").rpartition(";")
        sample = self.known.get(name.strip())
        if not parted:
            raise ValueError("part the sample and its mass by a tab or a semicolon.")
        if sample is None:
            raise ValueError(f"“{name.strip()}” is no sample of this submission.")
        if not mass.strip():
            raise ValueError(f"{name.strip()} has no mass. Give it in kg.")
        return sample, read_number(mass.strip())
