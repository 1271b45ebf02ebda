"""What is asked for a run: its evaluation, a failed control sample accepted by name."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labresults.queries.run_pages import EVERY_LINE


def _parted(point: str) -> tuple[str, str]:
    number, _, line = point.partition("|")
    return number, line


class EvaluateForm(forms.Form):
    """An evaluation; points left out are written `position|line`, those of a whole solution `position|*`."""

    reason = forms.CharField(label="Reason", required=False, strip=True)
    left_out = forms.MultipleChoiceField(label="Points left out", required=False)

    def __init__(self, *args: Any, points: Sequence[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["left_out"].choices = [(point, point) for point in points]  # type: ignore[attr-defined]

    def clean_left_out(self) -> list[tuple[int, str]]:
        marked = {(int(number), line) for number, line in map(_parted, self.cleaned_data["left_out"])}
        every = {number for number, line in marked if line == EVERY_LINE}
        known = [_parted(point) for point, _ in self.fields["left_out"].choices]  # type: ignore[attr-defined]
        return [
            (int(number), line)
            for number, line in known
            if line != EVERY_LINE and (int(number) in every or (int(number), line) in marked)
        ]


class AcceptForm(forms.Form):
    """Failed control samples accepted by name: one by one, or all that failed a criterion.

    failed: by key of the outcome, the key of its criterion.
    """

    reason = forms.CharField(label="Why the results may stand all the same", strip=True)
    outcomes = forms.TypedMultipleChoiceField(label="Failed control samples", coerce=int, required=False)
    criteria = forms.TypedMultipleChoiceField(label="Criteria", coerce=int, required=False)

    def __init__(self, *args: Any, failed: Mapping[int, int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.failed = failed
        self.fields["outcomes"].choices = [(key, key) for key in failed]  # type: ignore[attr-defined]
        self.fields["criteria"].choices = [(key, key) for key in set(failed.values())]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        whole, single = set(cleaned.pop("criteria", ())), set(cleaned.get("outcomes", ()))
        cleaned["outcomes"] = [key for key, criterion in self.failed.items() if key in single or criterion in whole]
        if not cleaned["outcomes"] and not self.errors:
            self.add_error("outcomes", "Mark what is to be accepted.")
        return cleaned


class LetStandForm(forms.Form):
    """Proposed repeats that are not measured again, and why. repeats: by the key that the page gave them."""

    reason = forms.CharField(label="Why it is not measured again", strip=True)
    repeats = forms.MultipleChoiceField(label="Repeats")

    def __init__(self, *args: Any, keys: Sequence[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["repeats"].choices = [(key, key) for key in keys]  # type: ignore[attr-defined]
