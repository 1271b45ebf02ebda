"""Layouts are made on a person's own file: recognised and offered, changed, tried at once, saved as versions."""

import html
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.actions.methods import save_layout
from labresults.models import Layout, Run
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch

AsRole = Callable[[str], Client]

WIDE = (
    "Plasma P1;night run\r\n\r\n"
    "Place;Solution;Cu 324.754 nm;Pb 220.353 nm\r\n"
    "1;STD 0;10,5;9,25\r\n"
    "2;STD 1;100,25;55,5\r\n"
    "3;STD 2;1810,75;over\r\n"
).encode("cp1252")
"""Of our own design: two lines above the table, decimal commas, a word for over range."""


class Editor:
    """The editor as a browser without script has it: what it shows is sent again, with what a person changes."""

    def __init__(self, browser: Client, address: str, content: bytes, name: str = "night.csv", **query: str) -> None:
        self.browser, self.address = browser, address
        self.show(browser.post(address, {"file": SimpleUploadedFile(name, content), "do": "look", **query}))

    def show(self, answer: Any) -> "Editor":
        self.answer, self.words = answer, answer.content.decode()
        return self

    def press(self, button: str, *, is_part: bool = False, **changed: object) -> "Editor":
        """Press a button. changed: settings by key; meanings: of columns, by heading."""
        sent: dict[str, Any] = {}
        for name, value in self.fields():
            sent.setdefault(name, []).append(value)
        meanings = changed.pop("meanings", {})
        for place, heading in enumerate(sent.get("heading", [])):
            sent["meaning"][place] = meanings.get(heading, sent["meaning"][place])  # type: ignore[attr-defined]
        sent |= {f"s-{key}": value for key, value in changed.items()} | {"do": button}
        headers = {"HTTP_HX_REQUEST": "true"} if is_part else {}
        return self.show(self.browser.post(self.address, sent, follow=True, **headers))

    def fields(self) -> list[tuple[str, str]]:
        found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', self.words)
        found += re.findall(r'<input id="[^"]*" name="([^"]+)" value="([^"]*)"', self.words)
        found += re.findall(r'name="([^"]+)" type="checkbox" value="([^"]*)" checked', self.words)
        found += re.findall(r'<textarea id="[^"]*" name="([^"]+)"[^>]*>\n?([^<]*)</textarea>', self.words)
        for name, body in re.findall(r'<select id="[^"]*" name="([^"]+)"[^>]*>(.*?)</select>', self.words, re.DOTALL):
            chosen = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', body)
            value, shown = chosen.groups() if chosen else ("", "")
            found.append((name, shown if value is None else value))
        return [(name, html.unescape(value)) for name, value in found if name != "csrfmiddlewaretoken"]

    @property
    def columns(self) -> dict[str, str]:
        """What each column is taken for, by its heading."""
        sent = [[value for name, value in self.fields() if name == of] for of in ("column", "heading", "meaning")]
        return {heading: meaning for key, heading, meaning in zip(*sent, strict=True) if key.startswith("column")}

    @property
    def text(self) -> str:
        return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", self.words).split()))


@pytest.fixture
def editor(lab: Laboratory, as_role: AsRole) -> Editor:
    return Editor(as_role("analyst"), reverse("new-layout"), WIDE)


def test_what_a_file_seems_to_be_is_offered_with_evidence_and_nothing_is_saved(editor: Editor) -> None:
    fields = dict(editor.fields())
    assert (fields["s-delimiter"], fields["s-decimal_sign"], fields["s-heading_row"]) == ("semicolon", "comma", "3")
    assert editor.columns == {
        "Place": "position", "Solution": "label", "Cu 324.754 nm": "readings of a line",
        "Pb 220.353 nm": "readings of a line",
    }  # fmt: skip
    assert "the comma can only be the decimal sign" in editor.text
    assert not Layout.objects.filter(name__startswith="night").exists()


def test_a_layout_is_made_tried_and_saved(lab: Laboratory, editor: Editor, as_role: AsRole) -> None:
    # given a file with a word that nothing is said of
    editor.press("look", name="night", unit="counts/s", over_range="", missing="")
    assert "“over” is not a number" in editor.text.partition("to correct")[2]
    # when the word is said to mean over range, then all is understood
    editor.press("look", over_range="over")
    assert "So it would be read" in editor.text
    assert "6 readings in 3 rows, 2 lines: Cu 324.754, Pb 220.353, in counts/s" in editor.text.replace(
        "\u202f", " "
    ).replace("\xa0", " ")
    # and it is saved under its name, and reads the file
    editor.press("save")
    layout = Layout.objects.get(name="night")
    assert (layout.version, layout.reads, layout.made_by) == (1, "readings", lab.people["analyst"])
    specification = LayoutSpecification.from_json(layout.specification)
    assert (specification.shape, specification.over_range, specification.heading_row) == (Shape.WIDE, ("over",), 3)
    assert editor.answer.redirect_chain[-1][0].startswith(reverse("layout", args=["night"]))


def test_what_a_person_decided_stays_and_the_rest_is_looked_for_again(editor: Editor) -> None:
    editor.press("look", name="night", heading_row="4")
    assert "as you said" in editor.text
    assert list(editor.columns) == ["1", "STD 0", "10,5", "9,25"], "the columns are those of the row that was said"
    editor.press("look", heading_row="3")
    assert dict(editor.fields())["s-name"] == "night"
    assert editor.columns["Cu 324.754 nm"] == "readings of a line"


def test_a_column_is_another_thing_when_a_person_says_so(editor: Editor) -> None:
    editor.press("look", name="night", unit="counts/s", over_range="over", meanings={"Pb 220.353 nm": "ignored"})
    assert "3 readings" in editor.text.replace("\u202f", " ").replace("\xa0", " ")
    editor.press("save")
    specification = LayoutSpecification.from_json(Layout.objects.get(name="night").specification)
    assert specification.ignored == ("Pb 220.353 nm",)


def test_a_change_brings_back_a_part_of_the_page(editor: Editor) -> None:
    editor.press("look", is_part=True, name="night")
    assert "<html" not in editor.words
    assert 'name="s-name" value="night"' in editor.words


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"name": ""}, "name"),
        ({"name": "night", "heading_row": "three"}, "“three” is not a whole number"),
        ({"name": "night", "meanings": {"Solution": "position"}}, "is the position already"),
    ],
)
def test_a_layout_that_cannot_be_applied_is_not_saved(editor: Editor, changed: dict[str, Any], says: str) -> None:
    editor.press("save", unit="counts/s", **changed)
    assert says in editor.text
    assert set(Layout.objects.values_list("name", flat=True)) == {"long"}


def test_the_next_version_begins_from_the_last_one(lab: Laboratory, as_role: AsRole) -> None:
    # given a layout with a word of its own
    browser, address = as_role("analyst"), reverse("layout", args=["long"])
    content = a_reading_file(a_run(lab, a_weighed_batch(lab, a_submission(lab))))
    editor = Editor(browser, address, content)
    fields = dict(editor.fields())
    assert (fields["s-name"], fields["s-unit"], fields["s-over_range"]) == ("long", "counts/s", "saturated")
    assert "So it would be read" in editor.text
    # when another word is added and it is saved, then both versions stand beside each other
    editor.press("save", over_range="saturated\nover")
    assert list(Layout.objects.filter(name="long").order_by("version").values_list("version", flat=True)) == [1, 2]
    newest = LayoutSpecification.from_json(Layout.objects.get(name="long", version=2).specification)
    assert (newest.over_range, newest.replicates, newest.version) == (
        ("saturated", "over"),
        ("reading 1", "reading 2"),
        2,
    )
    page = browser.get(address).content.decode()
    assert "Version 2 reads files today" in page
    assert "This is version 1" in browser.get(address, {"version": 1}).content.decode()


def test_a_name_that_is_there_becomes_its_next_version_and_says_so(editor: Editor) -> None:
    editor.press("look", name="long", unit="counts/s", over_range="over")
    assert "Save long, version 2" in editor.text


def test_from_a_run_to_the_editor_and_back_with_the_same_file(lab: Laboratory, as_role: AsRole) -> None:
    # given a file of a run that no layout fits
    run: Run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    content = a_reading_file(run).replace(b"position,label", b"place,label", 1)
    browser, address = as_role("analyst"), reverse("import-readings", args=[run.number])
    page = browser.post(address, {"file": SimpleUploadedFile("night.csv", content), "do": "look"}).content.decode()
    link = html.unescape(page.partition(f'href="{reverse("new-layout")}')[2].partition('"')[0])
    # when its layout is made
    editor = Editor.__new__(Editor)
    editor.browser, editor.address = browser, reverse("new-layout")
    editor.show(browser.get(reverse("new-layout") + link))
    editor.press("save", name="places", unit="counts/s")
    assert Layout.objects.filter(name="places").exists(), editor.text
    # then the page of the layout leads back, with the file
    assert f"Go on with night.csv for run {run}" in editor.text
    sha256 = re.search(r'name="files" value="([0-9a-f]{64})"', editor.words).group(1)  # type: ignore[union-attr]
    page = browser.post(address, {"files": sha256, f"name-{sha256}": "night.csv", "do": "look"}).content.decode()
    assert "Its headings fit" in page


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04 broken", b"one line", b"a;b\n" * 3], ids=str)
def test_no_file_breaks_the_editor(lab: Laboratory, as_role: AsRole, content: bytes) -> None:
    editor = Editor(as_role("analyst"), reverse("new-layout"), content)
    assert editor.answer.status_code == 200
    assert editor.press("save", name="x", unit="counts/s").answer.status_code == 200


def test_a_file_that_is_not_kept_any_more_is_asked_for_again(lab: Laboratory, as_role: AsRole) -> None:
    page = as_role("analyst").get(reverse("new-layout"), {"kept": "0" * 64, "name": "night.csv"}).content.decode()
    assert "night.csv is not kept any more. Choose it again." in page
    assert 'type="file"' in page


def test_only_who_saves_layouts_saves_one(lab: Laboratory, as_role: AsRole) -> None:
    editor = Editor(as_role("reviewer"), reverse("new-layout"), WIDE)
    editor.press("save", name="night", unit="counts/s", over_range="over")
    assert "may not save layout" in editor.text
    assert not Layout.objects.filter(name="night").exists()


def test_a_layout_of_a_balance_is_none_of_these(lab: Laboratory, as_role: AsRole) -> None:
    assert as_role("analyst").get(reverse("layout", args=["balance B2"])).status_code == 404


def test_a_name_with_signs_of_addresses_has_a_page(lab: Laboratory, as_role: AsRole) -> None:
    name = "P1/night & day? #2"
    specification = LayoutSpecification(
        name=name,
        version=1,
        shape=Shape.WIDE,
        unit="counts/s",
        position="Place",
        line_template="{element} {wavelength}",
    )
    save_layout(by=lab.people["analyst"], at=lab.later(), specification=specification)
    browser = as_role("analyst")
    assert name in html.unescape(browser.get(reverse("layout", args=[name])).content.decode())
    assert reverse("layout", args=[name]) in html.unescape(browser.get(reverse("layouts")).content.decode())
