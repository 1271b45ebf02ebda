"""The bench: which samples go into a batch, what is used for it, what was lost, and what may be used all the same."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from labresults.models import Equipment, Layout, Lot, MethodVersion, Weighing
from labresults.models.base import choices
from labresults.queries import preparation as bench
from labresults.queries.preparation import Tube, is_stopped
from labresults.terms import Repeat, Role, SolutionKind, State

MOST_SEED = 2**53 - 1
"""The largest seed: a whole number that every program reads alike."""


class _Lots(forms.ModelMultipleChoiceField):
    """Lots by number and material."""

    def label_from_instance(self, obj: Lot) -> str:
        return f"{obj.number}, {obj.material.name}"


class _Lot(forms.ModelChoiceField):
    """One lot by number and material."""

    def label_from_instance(self, obj: Lot) -> str:
        return f"{obj.number}, {obj.material.name}"


class _Balance(forms.ModelChoiceField):
    """A balance, with what speaks against it today."""

    on: date

    def label_from_instance(self, obj: Equipment) -> str:
        if not is_stopped(obj, self.on):
            return obj.code
        due_on = getattr(obj, "due_on", None)
        return f"{obj.code}, overdue since {due_on}" if due_on and due_on < self.on else f"{obj.code}, without a check"


def _weighs(unused: Sequence[str]) -> bool:
    """Whether a method weighs its portions: then the state when weighed is asked for."""
    return "state" not in unused


def _checked(balance: Any) -> str:
    """A balance with the days of its check."""
    if balance.done_on is None:
        return f"{balance} was never checked"
    return f"{balance} checked {balance.done_on}, due {balance.due_on}"


class BeginForm(forms.Form):
    """A batch: samples that wait, or samples again with a cause; reagents; the caution; the seed of its order."""

    samples = forms.MultipleChoiceField(required=False)
    seed = forms.IntegerField(required=False, min_value=0, max_value=MOST_SEED, widget=forms.HiddenInput)
    again = forms.CharField(
        label="Samples to prepare again", required=False, help_text="Laboratory numbers, parted by spaces."
    )
    repeat = forms.ChoiceField(label="Which repeat", choices=choices(Repeat), initial=Repeat.NONE.value)
    reason = forms.CharField(label="Cause of the repeat", required=False)
    reagents = _Lots(Lot.objects.none(), label="Reagents, by lot", required=False, widget=forms.CheckboxSelectMultiple)
    caution_read = forms.BooleanField(label="I have read the caution, and what it asks for is in place", required=False)

    def __init__(self, *args: Any, waiting: Sequence[Any], lots: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["samples"].choices = [(row.number, row.number) for row in waiting]
        self.fields["reagents"].queryset = lots

    def numbers(self) -> list[str]:
        """Numbers of the samples chosen, those to prepare again last."""
        return [*self.cleaned_data["samples"], *self.cleaned_data["again"].split()]


class BenchForm(forms.Form):
    """What holds for every row that is recorded now, and where the grid may be filled from."""

    balance = _Balance(Equipment.objects.none(), label="Balance", required=False, empty_label="none")
    state = forms.ChoiceField(label="State when weighed", choices=choices(State), required=False)
    usual_volume_mL = forms.FloatField(label="Volume where a row gives none, mL", required=False, min_value=0)
    usual_dilution = forms.CharField(label="Dilution where a row gives none", required=False)
    usual_kg_per_L = forms.FloatField(label="Density where a row gives none, kg/L", required=False, min_value=0)
    internal_standard = _Lot(Lot.objects.none(), label="Internal standard, lot", required=False, empty_label="none")
    spike_lot = _Lot(Lot.objects.none(), label="Spiking solution", required=False, empty_label="the current lot")
    read_at = forms.DateTimeField(
        label="Read at, where it is copied from paper",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
    )
    file = forms.FileField(label="A balance file", required=False)
    layout = forms.ModelChoiceField(
        Layout.objects.none(), label="Its layout", required=False, empty_label="as the grid’s own headings"
    )
    pasted = forms.CharField(
        label="Or rows from a spreadsheet, with their headings", required=False, widget=forms.Textarea
    )

    def __init__(self, *args: Any, on: date, querysets: dict[str, Any], unused: Sequence[str], **options: Any) -> None:
        super().__init__(*args, **options)
        for name, rows in querysets.items():
            self.fields[name].queryset = rows
        self.fields["balance"].on = on
        self.fields["balance"].help_text = "; ".join(_checked(item) for item in querysets["balance"])
        usable = [item.pk for item in querysets["balance"] if not is_stopped(item, on)]
        if len(usable) == 1 and _weighs(unused):
            self.initial.setdefault("balance", usable[0])
        for name in unused:
            del self.fields[name]

    def filled_from(self) -> bytes:
        """The bytes of a file or of a paste to fill the grid from; empty where there is neither."""
        file = self.cleaned_data.get("file")
        return file.read() if file else self.cleaned_data.get("pasted", "").encode()


class ReagentsForm(forms.Form):
    """Lots that are used for a batch from now on."""

    lots = forms.CharField(label="Lot numbers, scanned or typed, parted by spaces")

    def numbers(self) -> list[str]:
        """The lot numbers, each once."""
        return list(dict.fromkeys(self.cleaned_data["lots"].split()))


class DiscardForm(forms.Form):
    """A portion that was lost, and why."""

    tube = forms.TypedChoiceField(label="Tube", coerce=int)
    reason = forms.CharField(label="What happened", widget=forms.TextInput(attrs={"list": "lost-how"}))

    def __init__(self, *args: Any, tubes: Sequence[Any], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["tube"].choices = [
            (tube.portion.tube, f"{tube.portion.tube}, {tube.portion.label}") for tube in tubes
        ]


class OverrideForm(forms.Form):
    """Why an expired lot or overdue equipment may be used today."""

    reason = forms.CharField(label="Why it may be used today", widget=forms.Textarea(attrs={"rows": 3}))


def bench_form(posted: Any, files: Any, tubes: Sequence[Tube], version: MethodVersion, on: date) -> BenchForm:
    """The form above the grid of a batch: only what its kind of solution needs, as it was recorded last.

    At most four queries when it is shown or checked.
    """
    kind = SolutionKind(version.solution_kind)
    has_spike = any(tube.portion.role == Role.SPIKE for tube in tubes)
    querysets = {"balance": bench.balances(on), "layout": bench.layouts()}
    unused = []
    if kind == SolutionKind.MASS_IN_MASS:
        querysets["internal_standard"] = bench.internal_standards(version, on)
        unused += ["usual_volume_mL", "usual_kg_per_L"]
    else:
        unused.append("internal_standard")
    if kind == SolutionKind.VOLUME_IN_VOLUME:
        unused += ["state", "usual_kg_per_L"]
    if has_spike:
        querysets["spike_lot"] = bench.lots_to_add(tubes, on)
    else:
        unused.append("spike_lot")
    initial = _as_recorded_last(tubes) | {"usual_volume_mL": version.volume_mL, "usual_dilution": version.dilution}
    return BenchForm(posted, files, on=on, querysets=querysets, unused=unused, initial=initial)


def _as_recorded_last(tubes: Sequence[Tube]) -> dict[str, Any]:
    """Balance, state, density and internal standard of the newest recording in a batch."""
    rows: list[Weighing] = [tube.weighing for tube in tubes if tube.weighing]
    if not rows:
        return {"state": State.AS_RECEIVED.value}
    last = max(rows, key=lambda row: row.pk)
    return {
        "state": last.state,
        **({"balance": last.balance_id} if last.balance_id else {}),
        "usual_kg_per_L": last.solution_kg_per_L,
        "internal_standard": last.internal_standard_lot_id,
    }
