"""Styles, faces and the one script: all from our own folders, and fit to be served under hashed names."""

import re
import shutil
from pathlib import Path

import pytest
from django.contrib.staticfiles.storage import ManifestStaticFilesStorage
from django.core.files.storage import FileSystemStorage
from fontTools.ttLib import TTFont

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = {"labresults": ROOT / "labresults" / "static", "reports": ROOT / "reports" / "static"}
STYLES = [path for folder in FOLDERS.values() for path in sorted(folder.rglob("*.css"))]
FACES = [path for folder in FOLDERS.values() for path in sorted(folder.rglob("*.woff2"))]


def _named(style: Path) -> list[str]:
    """Return what a style sheet asks for."""
    return re.findall(r"url\(\"?([^\")]+)\"?\)", style.read_text(encoding="utf-8"))


@pytest.mark.parametrize("style", STYLES, ids=lambda path: path.name)
def test_a_style_asks_only_for_files_that_stand_beside_it(style: Path) -> None:
    for named in _named(style):
        assert "://" not in named
        assert (style.parent / named).is_file(), named


def test_every_face_is_asked_for_by_a_style() -> None:
    asked = {(style.parent / named).resolve() for style in STYLES for named in _named(style)}
    assert set(FACES) - asked == set()


@pytest.mark.parametrize("face", FACES, ids=lambda path: f"{path.parents[2].parent.name}-{path.stem}")
def test_every_face_is_under_a_licence_that_stands_beside_it(face: Path) -> None:
    name = "noto-sans-math" if face.stem == "signs" else re.split(r"-latin", face.stem)[0]
    licence = (face.parent / f"OFL-{name}.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence


@pytest.mark.parametrize("app", sorted(FOLDERS))
def test_the_signs_that_a_laboratory_writes_have_a_glyph(app: str) -> None:
    faces = [path for path in FACES if path.is_relative_to(FOLDERS[app])]
    have = {code for path in faces for code in TTFont(path).getBestCmap()}
    assert [sign for sign in "µμΩασ±×·°−–“”’²³½≤≥→√\u00a0\u202fěřžłőğ" if ord(sign) not in have] == []


def test_the_script_is_whole_and_points_nowhere() -> None:
    script = FOLDERS["labresults"] / "labresults" / "vendor" / "htmx" / "htmx.min.js"
    text = script.read_text(encoding="utf-8")
    assert "sourceMappingURL" not in text
    assert 'version:"2.' in text
    assert "Permission to use, copy, modify" in (script.parent / "LICENSE").read_text(encoding="utf-8")


def test_the_styles_can_be_served_under_hashed_names(tmp_path: Path) -> None:
    for folder in FOLDERS.values():
        shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    storage = ManifestStaticFilesStorage(location=str(tmp_path), base_url="/static/")
    source = FileSystemStorage(location=str(tmp_path))
    names = [path.relative_to(tmp_path).as_posix() for path in sorted(tmp_path.rglob("*")) if path.is_file()]
    done = list(storage.post_process({name: (source, name) for name in names}))
    assert [outcome for _, _, outcome in done if isinstance(outcome, Exception)] == []
    hashed = storage.stored_name("labresults/base.css")
    assert re.fullmatch(r"labresults/base\.[0-9a-f]{12}\.css", hashed)
    assert re.search(r"tokens\.[0-9a-f]{12}\.css", (tmp_path / hashed).read_text(encoding="utf-8"))
