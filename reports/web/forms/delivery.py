"""How a client wants its files, and who of it gets them, as they are typed."""

from typing import Any

from django.forms import (
    BooleanField,
    CharField,
    CheckboxSelectMultiple,
    ChoiceField,
    EmailField,
    Form,
    MultipleChoiceField,
    ValidationError,
)

from reports.delivery import (
    COLUMNS,
    DECIMALS,
    DELIMITERS,
    ENCODINGS,
    HEADS,
    AboveAs,
    Analyte,
    BadDelivery,
    BelowAs,
    DeliveryLayout,
)


class LayoutForm(Form):
    """A layout as data; lists are typed with commas between, an analyte as “Cu = Copper” or “Cu AR = Copper”."""

    name = CharField(label="Name of the layout", max_length=60)
    shape = ChoiceField(label="Shape", choices=[("wide", "a row a sample"), ("long", "a row a result")])
    columns = CharField(label="Before the results", initial="sample, client identification", required=False)
    heads = CharField(label="Heads", initial="name, unit")
    analytes = CharField(label="Results, in order", required=False, help_text="Empty: all. Cu = Copper, Pb = Lead")
    delimiter = ChoiceField(label="Between the values", choices=[(name, name) for name in DELIMITERS])
    decimal = ChoiceField(label="Decimal sign", choices=[(name, name) for name in DECIMALS])
    encoding = ChoiceField(label="Encoding", choices=[(name, name) for name in ENCODINGS])
    below = ChoiceField(label="Below a limit x", choices=[(word.value, word.value) for word in BelowAs])
    above = ChoiceField(label="Above a limit x", choices=[(word.value, word.value) for word in AboveAs])
    missing = CharField(label="Where there is no result", required=False, max_length=20, strip=False)
    with_uncertainty = BooleanField(label="With the uncertainty of each result", required=False)
    agreed = CharField(label="Written request, with its date", required=False, max_length=200)
    reason = CharField(label="Why", required=False, max_length=200)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if self.errors:
            return given
        lists = {"columns": _list(given["columns"]), "heads": _list(given["heads"])}
        words = {"below": BelowAs(given["below"]), "above": AboveAs(given["above"])}
        plain = {name: given[name] for name in _PLAIN}
        try:
            given["layout"] = DeliveryLayout(**plain, **lists, **words, analytes=_analytes(given["analytes"]))
        except BadDelivery as problem:
            raise ValidationError(str(problem)) from problem
        return given


class RecipientForm(Form):
    """Somebody of a client, and which files."""

    name = CharField(label="Name", max_length=200)
    email = EmailField(label="E-mail address")
    documents = MultipleChoiceField(
        label="Files", required=False, help_text="None chosen: all.", widget=CheckboxSelectMultiple
    )
    is_active = BooleanField(label="Gets them", required=False, initial=True)

    def __init__(self, *args: Any, documents: list[tuple[str, str]], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["documents"].choices = documents  # type: ignore[attr-defined]


_PLAIN = ("name", "shape", "delimiter", "decimal", "encoding", "missing", "with_uncertainty")
COLUMNS_IN_WORDS, HEADS_IN_WORDS = ", ".join(COLUMNS), ", ".join(HEADS)


def _list(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _analytes(text: str) -> tuple[Analyte, ...]:
    found = []
    for part in _list(text):
        wanted, _, name = (piece.strip() for piece in part.partition("="))
        reported_as, _, method = wanted.partition(" ")
        found.append(Analyte(reported_as, name, method.strip()))
    return tuple(found)
