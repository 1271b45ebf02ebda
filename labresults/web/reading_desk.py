"""The page on which files of readings are brought to a run: what was sent, which button was pressed, what is shown.

Between two requests only the bytes of the files are kept (`uploads`); what was said of them the page sends again.
"""

from collections.abc import Sequence
from datetime import datetime
from functools import cached_property, partial
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest

from labresults.actions.readings import import_readings
from labresults.queries.layout_offers import Offers, known_layouts, offers
from labresults.queries.run_imports import MOST_BYTES, Plan, Preview, plan_of, preview, taken
from labresults.web import uploads
from labresults.web.acting import attempt
from labresults.web.forms.readings import BroughtForm

MOST_FILES = 20
"""Files on one page: each is read again at every look."""


class Brought:
    """One file on the page, with what the person says of it."""

    def __init__(self, desk: "ReadingDesk", sha256: str, name: str, content: bytes) -> None:
        self.desk, self.sha256, self.name, self.content = desk, sha256, name, content
        said = desk.posted if f"{self.prefix}-said" in desk.posted else None
        fitting = self.offers.fitting
        offered = str(fitting[0].pk) if fitting else ""
        self.form = BroughtForm(said, self.prefix, self.offers.layouts, offered)
        self.form.is_valid()
        self.chosen = said.get(f"{self.prefix}-layout", "") if said else offered

    @property
    def prefix(self) -> str:
        """What the names of its fields begin with."""
        return f"f{self.sha256[:16]}"

    @cached_property
    def offers(self) -> Offers:
        """Layouts that can be chosen, and those that fit."""
        return offers(self.content, self.name, self.desk.layouts)

    @property
    def layout(self) -> Any:
        """The layout that is chosen; None where none is."""
        return next((layout for layout in self.offers.layouts if str(layout.pk) == self.chosen), None)

    @property
    def fits(self) -> bool:
        """Whether the chosen layout is one whose headings are in the file."""
        return self.layout in self.offers.fitting

    @cached_property
    def seen(self) -> Preview | None:
        """What was understood; None without a layout."""
        if self.layout is None:
            return None
        same = self.desk.taken.get(self.sha256)
        said = {"struck": self.form.rows, "matched": self.form.matched, "same_as": same}
        return preview(self.desk.plan, self.content, self.name, self.layout, **said)

    @property
    def needs_times(self) -> bool:
        """Whether only a person can say when it was measured."""
        is_open = self.seen is not None and self.seen.same_as is None
        return bool(is_open and self.seen and not self.seen.times and not self.form["measured_from"].value())

    @property
    def can_be_taken(self) -> bool:
        """Whether nothing is left to ask or to correct."""
        return bool(self.seen and self.seen.can_be_taken and not self.needs_times and not self.form.errors)

    @property
    def questions(self) -> list[dict[str, Any]]:
        """Names that do not match the plan: which position could be meant, and what was answered."""
        labels = dict(self.desk.plan.positions)
        answered = self.form.matched
        asked = self.seen.asked if self.seen else {}
        found = [
            {"name": name, "row": problem.row, "choices": problem.asks.free, "chosen": None}
            for name, problem in asked.items()
            if problem.asks and problem.asks.free
        ]
        return found + [
            {"name": name, "row": None, "choices": ((number, labels.get(number, "")),), "chosen": number}
            for name, number in answered.items()
            if name not in asked
        ]

    @property
    def problems(self) -> list[dict[str, Any]]:
        """The problems that are shown; the first one of a row of the table offers to leave the row out."""
        open_rows = self.seen.rows_in_doubt - set(self.form.rows) if self.seen else set()
        found = []
        for problem in self.seen.shown if self.seen else ():
            found.append({"problem": problem, "strike": problem.row in open_rows})
            open_rows.discard(problem.row or 0)
        return found

    def take(self) -> Any:
        """Take it; None when it was refused, and the page says why."""
        done = partial(
            import_readings,
            by=self.desk.request.user,
            at=self.desk.now,
            run=self.desk.run,
            content=self.content,
            filename=self.name,
            layout=self.layout,
            struck=self.form.struck,
            matched=self.form.matched,
            measured_from=self.form.given("measured_from"),
            measured_to=self.form.given("measured_to"),
        )
        return attempt(self.desk.request, done, f"The readings of {self.name} are taken.")


class ReadingDesk:
    """All files on the page."""

    def __init__(self, request: HttpRequest, run: Any, now: datetime) -> None:
        self.request, self.posted, self.run, self.now = request, request.POST, run, now
        self.button, _, self.of = self.posted.get("do", "look").partition(" ")
        self.files = self._sent_again()
        self._bring(request.FILES.getlist("file"))
        self.is_done = False

    @cached_property
    def plan(self) -> Plan:
        """What the run expects."""
        return plan_of(self.run)

    @cached_property
    def layouts(self) -> Sequence[Any]:
        """Saved layouts, the likeliest first."""
        return known_layouts(self.run.instrument)

    @cached_property
    def taken(self) -> dict[str, Any]:
        """Which of the files were taken before, and as what."""
        return taken(file.sha256 for file in self.files)

    def do(self) -> None:
        """Do what the pressed button asks for."""
        if self.button == "leave":
            self.files = [file for file in self.files if file.sha256 != self.of]
        elif self.button == "take":
            self._take([file for file in self.files if self.of in ("", file.sha256)])

    @property
    def asked_of(self) -> Brought | None:
        """The file whose problems are to be downloaded."""
        is_csv = self.button == "problems"
        return next((file for file in self.files if is_csv and file.sha256 == self.of and file.seen), None)

    def context(self) -> dict[str, Any]:
        """What the page shows."""
        ready = [file for file in self.files if file.can_be_taken]
        return {"run": self.run, "files": self.files, "ready": ready, "plan": self.plan, "most_mb": MOST_BYTES // 10**6}

    def _take(self, files: Sequence[Brought]) -> None:
        """Take what can be taken; what is refused stays on the page. A file taken changes what the next ones lack."""
        gone = {file.sha256 for file in files if file.can_be_taken and file.take() is not None}
        for sha256 in gone:
            uploads.forget(sha256)
        self.files = [file for file in self.files if file.sha256 not in gone]
        self.is_done = bool(gone) and not self.files
        for cached in ("plan", "taken"):
            self.__dict__.pop(cached, None)
        for file in self.files:
            file.__dict__.pop("seen", None)

    def _sent_again(self) -> list[Brought]:
        """Files of the page before, from where their bytes wait."""
        found = []
        for sha256 in dict.fromkeys(self.posted.getlist("files")[:MOST_FILES]):
            content = uploads.take(sha256)
            name = self.posted.get(f"name-{sha256}", "")[:255] or "readings"
            if content is not None:
                found.append(Brought(self, sha256, name, content))
            elif (same := taken([sha256]).get(sha256)) is not None:
                messages.warning(self.request, f"{name} is taken already, as {same.name} of run {same.run}.")
            else:
                messages.error(self.request, f"{name} is not kept any more. Choose it again.")
        return found

    def _bring(self, sent: Sequence[UploadedFile]) -> None:
        """New files: kept until they are taken or left; each one once."""
        known = {file.sha256 for file in self.files}
        for file in sent:
            name = file.name or "readings"
            if (file.size or 0) > MOST_BYTES or len(self.files) >= MOST_FILES:
                why = f"is larger than {MOST_BYTES // 10**6} MB" if len(self.files) < MOST_FILES else "is one too many"
                messages.error(self.request, f"{name} {why}. Bring it by itself, in parts or later.")
                continue
            content = file.read()
            sha256 = uploads.keep(content, self.now)
            if sha256 not in known:
                known.add(sha256)
                self.files.append(Brought(self, sha256, name, content))
