"""What a reviewer gives: a signature under what was decided, or another measurement that is to stand."""

from collections.abc import Collection, Mapping
from typing import Any

from django import forms

from labresults.actions.review import TurnedDown
from labresults.queries.review_pages import ReviewPage, asking_of, waiting_of
from labresults.terms import Decision, Station

MEANINGS = ("Reviewed and approved", "Approved except those sent back or refused")

ACCEPT = "accept"
TURNED_DOWN = {
    "refuse": (Decision.REFUSE, None),
    "runs": (Decision.SEND_BACK, Station.RUNS),
    "preparation": (Decision.SEND_BACK, Station.PREPARATION),
}
"""What a page calls each way of not approving a result."""


def _password() -> forms.CharField:
    """The password again: an empty one is refused by the act, which says so."""
    return forms.CharField(label="Your password, again", strip=False, required=False, max_length=4096)


def _code() -> forms.CharField:
    """The six digits of the second factor, where it is on; the act asks for them."""
    return forms.CharField(label="The six digits", required=False, max_length=20)


class SignForm(forms.Form):
    """One signature under a submission: what is approved, refused, sent back.

    Of each result `d-<key>` says what is decided and `r-<key>` why; of each group that asks for the same reason
    `g-<place>` and `gr-<place>` say it for those that nothing else is said of. Groups can be turned down, not accepted.
    """

    method = forms.ChoiceField(label="What", required=False)
    seen = forms.CharField(label="What was shown", required=False)
    password = _password()
    code = _code()
    meaning = forms.ChoiceField(label="Meaning", choices=[(words, words) for words in MEANINGS])
    reason = forms.CharField(label="Reason", required=False, strip=True)

    def __init__(self, *args: Any, page: ReviewPage, **options: Any) -> None:
        super().__init__(*args, **options)
        self.page = page
        choices = [("", "everything that waits"), *((code, code) for code in page.methods)]
        self.fields["method"].choices = choices  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("seen") != self.page.seen:
            self.add_error(None, "What waits has changed since this page was shown. Look again, then sign.")
            return cleaned
        decided = self._decided()
        method = cleaned.get("method", "")
        asking = asking_of(self.page, method)
        accepted = {key for key, (what, _) in decided.items() if what == ACCEPT}
        turned = {key: said for key, said in decided.items() if said[0] != ACCEPT}
        keys = [key for key in waiting_of(self.page, method) if key not in turned]
        cleaned["results"] = [key for key in keys if key not in asking or key in accepted]
        cleaned["looked_at"] = sorted(accepted)
        cleaned["seen_sha256"] = self.page.shown_digest(cleaned["results"]) if cleaned["results"] else ""
        cleaned["turned_down"] = _by_reason(turned, self.page.facts.decisions)
        if not cleaned["results"] and not turned:
            self.add_error(
                None, "Nothing is decided yet: accept each that asks for a look, refuse it, or send it back."
            )
        return cleaned

    def _decided(self) -> dict[int, tuple[str, str]]:
        """By key of a result: what was decided of it, and why. Says what cannot be read."""
        standing = {selection.result_id for selection in self.page.facts.selections.values()}
        found: dict[int, tuple[str, str]] = {}
        for place, group in enumerate(self.page.asking):
            if what := self.data.get(f"g-{place}", ""):
                said = (what, self.data.get(f"gr-{place}", "").strip())
                found |= {result.pk: said for _, result in group.results}
        for name, what in self.data.items():
            key = name[2:]
            if name.startswith("d-") and what and key.isascii() and key.isdigit() and len(key) < 19:
                found[int(key)] = (what, self.data.get(f"r-{key}", "").strip())
        for key, (what, _) in found.items():
            if key not in standing or what not in (ACCEPT, *TURNED_DOWN):
                self.add_error(None, "One of the results that were marked does not stand any more. Look again.")
        return found


def _by_reason(turned: Mapping[int, tuple[str, str]], decisions: Mapping[int, Any]) -> list[TurnedDown]:
    """Results turned down in the same way for the same reason, together. decisions: the newest of each, as shown."""
    together: dict[tuple[str, str], list[int]] = {}
    for key, said in sorted(turned.items()):
        together.setdefault(said, []).append(key)
    return [
        TurnedDown(keys, TURNED_DOWN[what][0], reason, TURNED_DOWN[what][1], _reviews_of(keys, decisions))
        for (what, reason), keys in together.items()
        if what in TURNED_DOWN
    ]


def _reviews_of(keys: Collection[int], decisions: Mapping[int, Any]) -> list[int]:
    return [decisions[key].review_id for key in keys if key in decisions]


class TurnDownForm(forms.Form):
    """One result refused or sent back at once, with the reason and a signature of its own.

    over: key of the review that stood beside it when it was shown.
    """

    results = forms.TypedMultipleChoiceField(label="Results", coerce=int)
    over = forms.IntegerField(label="What was decided before", required=False)
    decision = forms.ChoiceField(label="Decision", choices=[(word, word) for word in TURNED_DOWN])
    reason = forms.CharField(label="Reason", required=False, strip=True)
    password = _password()
    code = _code()

    def __init__(self, *args: Any, results: Collection[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["results"].choices = [(key, key) for key in results]  # type: ignore[attr-defined]

    def clean_over(self) -> list[int]:
        """The review that was seen, as the act takes it."""
        over = self.cleaned_data["over"]
        return [] if over is None else [over]


class SelectForm(forms.Form):
    """Another measurement that is to stand, and why."""

    result = forms.TypedChoiceField(label="Measurement", coerce=int)
    reason = forms.CharField(label="Reason", required=False, strip=True)

    def __init__(self, *args: Any, results: Collection[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["result"].choices = [(key, key) for key in results]  # type: ignore[attr-defined]


class CommentForm(SelectForm):
    """A remark beside one result."""

    reason = None
    text = forms.CharField(label="Comment", required=False, strip=True)
