"""The counter's page: what was sent, which button was pressed, and what the page shows then.

Nothing lies between two requests but what the page itself sends again, and a table that is being read (`uploads`).
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ObjectDoesNotExist
from django.http import HttpRequest, QueryDict

from labresults.actions.delivery import receive_samples, remember_request
from labresults.acts import BadInput, WrongState
from labresults.queries import delivery as counter
from labresults.queries.request_review import (
    FoundConcern,
    enough_for_one,
    logged_with,
    request_of,
    review,
    usual_request,
)
from labresults.web.forms.delivery_concerns import accepted, has_reasons, kinds_of
from labresults.web.forms.delivery_rows import ON_CHOICE, Grid, rows_sent
from labresults.web.forms.delivery_table import TableForm, table_brought
from labresults.web.forms.reception import DeliveryForm, OfMatrixForm, SeriesForm, asking_like

BLANK_ROWS = {"add": 10, "": 3}
"""Empty rows at the end of the grid: after “Add rows”, and where there is no row yet."""

_OF_THE_REQUEST = frozenset({"usual", "copy", "remember"})
"""Buttons beside what is asked for; what is wrong with the others is said beside the rows."""


class DeliveryDesk:
    """One delivery as the page holds it."""

    def __init__(self, request: HttpRequest, now: datetime) -> None:
        self.request, self.posted, self.now = request, request.POST, now
        self.known = counter.known_words()
        self.step = next((step for step in self._steps() if step in self.posted), "check")
        self.form = DeliveryForm(self.posted or None, initial={"form_key": uuid4().hex})
        self.series = SeriesForm(self.posted if self.step == "series" else None)
        self.of_matrix: OfMatrixForm | None = None
        self.rows = self._tidied(rows_sent(self.posted))
        self.table: TableForm | None = None
        self.trouble = ""
        self._judged: bool | None = None

    def do(self) -> Any:
        """Do what the pressed button asks for; return the submission when the delivery was logged, else None."""
        try:
            self.table = table_brought(self.posted, self.request.FILES, self.now)
            return self._steps().get(self.step, self._check)()
        except BadInput as refusal:
            if self.step == "log":  # the page opens at its head then; else where the button stands
                messages.error(self.request, str(refusal))
            else:
                self.trouble = str(refusal)
            return None

    def context(self) -> dict[str, Any]:
        """What the page shows."""
        if self.posted:
            self._head_holds()
        if self.step not in {"log", "check"}:
            self.form.errors.clear()
        rows = counter.delivered(self.rows, self._given("hazards", ()))
        problems = counter.problems_of(rows, self.now, self.known) if rows else ()
        waters = counter.has_waters(self.rows, self.known)
        chosen = self.posted.getlist("columns")
        show = self.posted.get("show", "") or self.posted.get("shown", "")
        blank = BLANK_ROWS["add"] if self.step == "add" else 0 if self.rows else BLANK_ROWS[""]
        grid = Grid(self.rows, problems, chosen=chosen, waters=waters, show=show, blank=blank)
        return {
            "form": self.form,
            "series": self.series,
            "table": self.table,
            "trouble": {"asked" if self.step in _OF_THE_REQUEST else "rows": self.trouble},
            "grid": grid,
            "known": self.known,
            "columns": [(column, column in grid.columns) for column in ON_CHOICE],
            "waters": waters,
            "unknown": counter.unknown_matrices(self.rows, self.known),
            "cautions": counter.cautions_of(rows, self._given("hazards", ())),
            "matrix_of_rest": self.posted.get("matrix_of_rest", ""),
            **self._request_said(rows, bool(problems)),
        }

    def _steps(self) -> dict[str, Callable[[], Any]]:
        """The buttons of the page; the first one that was sent counts."""
        return {
            "log": self._log,
            "put": self._put,
            "look": self._check,
            "drop": self._drop,
            "series": self._series,
            "of_matrix_put": self._put_of_matrix,
            "replace": self._replace,
            "usual": self._usual,
            "copy": self._copy,
            "remember": self._remember,
            "add": self._check,
            "show": self._check,
            "read": self._check,
        }

    def _check(self) -> None:
        """Nothing but what the page shows anyway: rows, problems, what is asked for."""

    def _log(self) -> Any:
        if self.table:
            raise BadInput("The table that was read is not in the grid yet. Put its rows there, or leave it, then log.")
        if not self._head_holds():
            return None
        rows = counter.delivered(self.rows, self._given("hazards", ()))
        found = self._review(rows) if has_reasons(self.posted) else ()
        try:
            submission = receive_samples(
                by=self.request.user,
                at=self.now,
                rows=rows,
                concerns=accepted(found, self.posted),
                **self.form.arguments(),
            )
        except WrongState as refusal:
            earlier = logged_with(self.form.cleaned_data["form_key"])
            if earlier is None:
                raise
            messages.warning(self.request, str(refusal))
            return earlier
        said = f"{submission} is logged: {len(rows)} samples. Print its labels and receipt."
        messages.success(self.request, said)
        return submission

    def _put(self) -> None:
        if self.table is None or self.table.has_problems:
            return
        rows = [dict(row) for row in self.table.understood.rows]
        self._drop()
        self._add(rows)

    def _drop(self) -> None:
        """Leave the table; its bytes stay in the file store for a day, for who goes back and looks again."""
        self.table = None

    def _series(self) -> None:
        if self.series.is_valid():
            self._add(self.series.rows())
            self.series = SeriesForm()

    def _add(self, rows: list[counter.Row]) -> None:
        self.rows = self._tidied([*self.rows, *rows])
        messages.info(self.request, f"Rows that came into the grid: {len(rows)}. Nothing is logged yet.")

    def _put_of_matrix(self) -> None:
        form = self._of_matrix_form(self.posted)
        if not form.is_valid():
            self.of_matrix = form
            return
        count = form.put_into(self.rows)
        messages.info(self.request, f"Rows of {form.cleaned_data['of_matrix']} that ask for it now: {count}.")

    def _replace(self) -> None:
        """Put the chosen matrices in place of words that are not known, in every row that has them."""
        pairs = zip(self.posted.getlist("unknown"), self.posted.getlist("instead"), strict=False)
        instead = {text: known for text, known in pairs if known}
        for row in self.rows:
            row["matrix"] = instead.get(row["matrix"], row["matrix"])

    def _usual(self) -> None:
        self.form.is_valid()
        client = self._given("client", None)
        if client is None:
            raise BadInput("Choose the client first.")
        usual = usual_request(client)
        if usual is None:
            raise BadInput(f"Nothing is remembered of what {client} usually asks for.")
        self.form = asking_like(self.posted, usual)

    def _copy(self) -> None:
        number = self.posted.get("copy_from", "").strip()
        try:
            self.form = asking_like(self.posted, request_of(number))
        except ObjectDoesNotExist as missing:
            raise BadInput(f"There is no submission “{number}”. Give its number as S26-0001.") from missing

    def _remember(self) -> None:
        self.form.is_valid()
        client, methods = self._given("client", None), self._given("methods", ())
        if client is None or not methods:
            raise BadInput("Choose the client and the methods that are to be remembered.")
        remember_request(
            by=self.request.user,
            at=self.now,
            client=client,
            methods=list(methods),
            basis=self.form.basis_asked(),
            limit_set=self._given("limit_set", None),
        )
        messages.success(self.request, f"It is remembered as the usual request of {client}.")

    def _tidied(self, rows: list[counter.Row]) -> list[counter.Row]:
        return counter.tidied(rows, self.known, self.posted.get("matrix_of_rest", ""))

    def _given(self, name: str, otherwise: Any) -> Any:
        """What stands in a field of the form, where it was read without fault."""
        return getattr(self.form, "cleaned_data", {}).get(name) or otherwise

    def _head_holds(self) -> bool:
        """Whether the form holds, by itself and with the rows and the clock; what does not is said at its field."""
        if self._judged is None:
            self.form.is_valid()
            received_at = self._given("received_at", None)
            if received_at and received_at > self.now:
                self.form.add_error("received_at", "This moment is still to come. Correct it, or leave it empty.")
            if self.rows and not self._given("methods", ()) and not all(row["methods"] for row in self.rows):
                self.form.add_error("methods", "Choose at least one method, or give every row its own.")
            self._judged = not self.form.errors
        return self._judged

    def _review(self, rows: Any) -> tuple[FoundConcern, ...]:
        return review(rows, methods=self._given("methods", ()), at=self.now)

    def _request_said(self, rows: Any, wrong: bool) -> dict[str, Any]:
        """What the review of the request finds; rows that are wrong are mended first."""
        methods = self._given("methods", ())
        asked = rows and not wrong and (methods or all(row.methods for row in rows))
        return {
            "by_matrix": counter.asked_by_matrix(self.rows),
            "of_matrix": self.of_matrix or (self._of_matrix_form(None) if rows else None),
            "kinds": kinds_of(self._review(rows), self.posted) if asked else [],
            "little": enough_for_one(rows, methods=methods, at=self.now)[:10] if asked else (),
        }

    def _of_matrix_form(self, posted: QueryDict | None) -> OfMatrixForm:
        matrices = list(dict.fromkeys(row["matrix"] for row in self.rows if row["matrix"]))
        return OfMatrixForm(posted, matrices=matrices, limits=list(self.known.limits))


def asked_of_client(sent: QueryDict) -> dict[str, Any]:
    """What is asked for, filled in with the client's usual request where no method was chosen yet."""
    form = DeliveryForm(sent)
    form.is_valid()
    client = form.cleaned_data.get("client")
    usual = usual_request(client) if client else None
    filled = usual is not None and not sent.getlist("methods")
    if usual and filled:
        form = asking_like(sent, usual)
    form.errors.clear()
    return {"form": form, "client": client, "usual": usual, "filled": filled}
