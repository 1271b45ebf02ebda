"""The page on which a layout is made on a person's own file.

What a person decided is told apart from what was recognised: a setting that differs from what the page offered is
decided, and stays; the others are looked for anew at every look, since one decision changes what the rest can be.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest

from labresults.actions.methods import save_layout
from labresults.acts import BadInput
from labresults.queries.layout_editor import (
    MEANINGS,
    MEANINGS_ABOVE,
    SETTINGS,
    Draft,
    answers_on,
    draft,
    made_layout,
    next_version,
    recognised_with,
)
from labresults.queries.run_imports import MOST_BYTES
from labresults.web import uploads
from labresults.web.acting import attempt


@dataclass(frozen=True)
class Asked:
    """One setting as the page asks it."""

    key: str
    words: str
    help: str
    kind: str  # select, boxes, lines, text
    choices: tuple[tuple[str, str], ...]
    value: str  # several answers stand one a line
    is_decided: bool
    evidence: str
    is_sure: bool

    @property
    def values(self) -> list[str]:
        """The answers, where there may be several."""
        return self.value.splitlines()


class LayoutDesk:
    """One layout as it is being made; `of` is the saved one that it shall follow, if any."""

    def __init__(self, request: HttpRequest, of: Any, now: datetime) -> None:
        self.request, self.posted, self.of, self.now = request, request.POST, of, now
        asked = request.POST or request.GET
        self.run = asked.get("run", "")
        self.filename = asked.get("name", "")[:255] or "readings"
        self.sha256 = asked.get("kept", "")
        self.content = uploads.take(self.sha256)
        self._bring()

    @cached_property
    def answered(self) -> tuple[dict[str, str], dict[str, str]]:
        """Settings that are decided, and what columns and the lines above them are."""
        if self.content is None:
            return {}, {}
        if "looked" in self.posted:
            return self._decided(), self._meanings()
        return answers_on(self.of, self.content, self.filename) if self.of else ({}, {})

    @cached_property
    def draft(self) -> Draft | None:
        """What the layout makes of the file; None without a file."""
        if self.content is None:
            return None
        decided, meanings = self.answered
        return draft(self.content, self.filename, decided, {**meanings, **decided}, self.version)

    @cached_property
    def version(self) -> int:
        """The version that this one will be: the next one of its name."""
        decided, _ = self.answered
        return next_version(decided.get("name", ""))

    @property
    def columns(self) -> list[dict[str, Any]]:
        """The columns, each with what it may be, the offers first, and what it is taken for."""
        return self._with_choices(self.draft.recognised.columns, MEANINGS) if self.draft else []

    @property
    def above(self) -> list[dict[str, Any]]:
        """The lines above the table, the same."""
        return self._with_choices(self.draft.recognised.above, MEANINGS_ABOVE) if self.draft else []

    def saved(self) -> Any:
        """Save what was made as a new version; None when it was refused, and the page says why."""
        try:
            specification = made_layout(self.draft) if self.draft else None
        except BadInput as refusal:
            messages.error(self.request, str(refusal))
            return None
        done = partial(save_layout, by=self.request.user, at=self.now, specification=specification)
        return attempt(self.request, done, "The layout {} is saved.") if specification else None

    def context(self) -> dict[str, Any]:
        """What the page shows."""
        return {"desk": self, "of": self.of, "draft": self.draft, "settings": list(self._asked()), "run": self.run}

    def _with_choices(self, items: Any, every: tuple[str, ...]) -> list[dict[str, Any]]:
        answers = self.draft.answers if self.draft else {}
        return [
            {"of": item, "meant": answers.get(item.key, ""), "choices": tuple(dict.fromkeys((*item.offers, *every)))}
            for item in items
        ]

    def _asked(self) -> Iterator[Asked]:
        if self.draft is None:
            return
        decided, _ = self.answered
        sheets = tuple((name, name) for name in self.draft.recognised.sheets)
        for setting in SETTINGS:
            seen = self.draft.recognised.settings.get(setting.key)
            choices = sheets if setting.key == "sheet" else setting.choices
            value = self.draft.answers.get(setting.key, "")
            blank = () if setting.many or value in dict(choices) else (("", "not said"),)
            yield Asked(
                key=setting.key,
                words=setting.words,
                help=setting.help,
                kind=_KINDS[bool(choices), setting.many],
                choices=blank + choices if choices else (),
                value=value,
                is_decided=setting.key in decided,
                evidence=seen.evidence if seen and setting.key not in decided else "",
                is_sure=seen.sure if seen else True,
            )

    def _decided(self) -> dict[str, str]:
        """Settings that a person changed, now or before."""
        before = set(self.posted.getlist("decided"))
        now = {setting.key: _lines(self.posted.getlist(f"s-{setting.key}")) for setting in SETTINGS}
        was = {key: _lines(self.posted.getlist(f"was-{key}")) for key in now}
        return {key: value for key, value in now.items() if key in before or value != was[key]}

    def _meanings(self) -> dict[str, str]:
        """What was said of columns; told again by their headings, which may be others under another heading row."""
        keys, words, meant = (self.posted.getlist(name) for name in ("column", "heading", "meaning"))
        found = {(key, heading): meaning for key, heading, meaning in zip(keys, words, meant, strict=False) if meaning}
        decided = self._decided()
        recognised = recognised_with(self.content or b"", self.filename, decided)
        headings = [(column.key, column.heading) for column in recognised.columns]
        headings += [(above.key, above.word) for above in recognised.above]
        return {key: found[key, heading] for key, heading in headings if (key, heading) in found}

    def _bring(self) -> None:
        """The file that was sent with the page, kept until the layout is made."""
        sent = self.request.FILES.get("file")
        if sent is None:
            if self.sha256 and self.content is None:
                messages.error(self.request, f"{self.filename} is not kept any more. Choose it again.")
            return
        if (sent.size or 0) > MOST_BYTES:
            messages.error(self.request, f"{sent.name} is larger than {MOST_BYTES // 10**6} MB.")
            return
        self.filename, self.content = sent.name or "readings", sent.read()
        self.sha256 = uploads.keep(self.content, self.now)


_KINDS = {(True, False): "select", (True, True): "boxes", (False, True): "lines", (False, False): "text"}
"""How a setting is asked: by whether it has choices, and whether it may have several answers."""


def _lines(answers: list[str]) -> str:
    """Answers as one text, one a line, whatever ends a line in the browser."""
    return "\n".join(line for answer in answers for line in answer.splitlines())
