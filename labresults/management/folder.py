"""A folder into which instruments drop their files: what is still, what is taken next, and where it goes afterwards.

Nothing here removes or overwrites anything: a file is moved aside under a free name, with a report beside it.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows has none: there, one watcher a folder is a rule and not a lock
    fcntl = None  # type: ignore[assignment]

DONE, REFUSED = "done", "refused"
REPORT = ".report.txt"
_LOCK = ".watched"
_LONGEST_NAME = 200  # characters, so that a number and `REPORT` still fit into the 255 bytes that file systems allow
_RUN = re.compile(r"R\d{2}-\d{4,}", re.IGNORECASE)
_FIRST_BYTES = 4_096
_FIRST_LINES = 20


class Left(Exception):
    """Nothing can be done with the file now, and nothing was: it is being written, or it is gone."""


class FolderTaken(Exception):
    """Another program watches this folder."""


@dataclass(frozen=True)
class Seen:
    """How a file looked: while any of it changes, somebody is still writing."""

    size: int
    changed_ns: int


@dataclass
class Folder:
    """One watched folder, and how its files looked before."""

    path: Path
    still_s: float
    _seen: dict[str, tuple[Seen, float]] = field(default_factory=dict)
    _left: dict[str, Seen] = field(default_factory=dict)

    def prepare(self) -> None:
        """Make the folders for what is done and what is refused. Raises OSError when that cannot be."""
        for name in (DONE, REFUSED):
            (self.path / name).mkdir(exist_ok=True)

    def still_files(self, now_s: float) -> list[Path]:
        """Files, by name, that have looked the same for `still_s`; now_s: seconds of a clock that only goes forward.

        What the file itself says of its time is compared and never believed: the instrument's clock may be wrong.
        Empty files are left (many programs make the file first), so are links, folders, hidden files and reports.
        """
        found = {path.name: seen for path in self._files() if (seen := _look(path)) is not None and seen.size}
        self._seen = {
            name: self._seen[name] if name in self._seen and self._seen[name][0] == seen else (seen, now_s)
            for name, seen in found.items()
        }
        self._left = {name: seen for name, seen in self._left.items() if found.get(name) == seen}
        waiting = sorted(set(found) - set(self._left))
        return [self.path / name for name in waiting if now_s - self._seen[name][1] >= self.still_s]

    def leave(self, path: Path) -> None:
        """Do not look at this file again before it changes, or before the next start: it cannot be moved aside."""
        self._left[path.name] = self._seen[path.name][0]

    def content(self, path: Path, most_bytes: int) -> bytes | None:
        """The bytes of a still file; None when there are more than so many. Raises Left, or OSError."""
        try:
            content = None if path.stat().st_size > most_bytes else path.read_bytes()
        except FileNotFoundError as gone:
            raise Left("it was taken away before it could be read.") from gone
        if content is not None and _look(path) != Seen(len(content), self._seen[path.name][0].changed_ns):
            raise Left("it is being written; left.")
        return content

    def move(self, path: Path, to: str, report: str) -> Path:
        """Move a file into one of the two folders, under a free name, with its report beside it; return where it is.

        Raises Left when it is not there any more.
        """
        place = _free(self.path / to, path.name)
        try:
            os.replace(path, place)
        except OSError as trouble:
            place.unlink()  # the empty place that was kept for it
            if isinstance(trouble, FileNotFoundError):
                raise Left(f"it was taken away before it could be moved to {to}.") from trouble
            raise
        self._seen.pop(path.name, None)
        _free(place.parent, place.name + REPORT).write_text(report, encoding="utf-8")
        return place

    def _files(self) -> Iterator[Path]:
        with os.scandir(self.path) as entries:
            for entry in entries:
                is_ours = entry.name.startswith(".") or entry.name.endswith(REPORT)
                if not is_ours and entry.is_file(follow_symlinks=False):
                    yield Path(entry.path)


def run_named(filename: str, content: bytes) -> str:
    """The number of the run that a file says it belongs to: its name begins with it, or its first lines have it.

    Empty where neither does, or where the first lines name several; the name goes before the lines.
    """
    at_start = _RUN.match(filename)
    if at_start:
        return at_start.group().upper()
    first_lines = "\n".join(_text(content[:_FIRST_BYTES]).splitlines()[:_FIRST_LINES])
    named = {found.upper() for found in _RUN.findall(first_lines)}
    return named.pop() if len(named) == 1 else ""


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Keep the folder to this program while it runs; a program that died leaves no lock. Raises FolderTaken."""
    with (path / _LOCK).open("a") as door:
        if fcntl is not None:
            try:
                fcntl.flock(door, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as taken:
                raise FolderTaken(f"{path} is watched already by another program on this machine.") from taken
        yield


def shown(name: str) -> str:
    """A file's name as it may be printed: whatever is no sign on paper is written out."""
    return name if name.isprintable() else ascii(name)[1:-1]


def _look(path: Path) -> Seen | None:
    try:
        found = path.stat(follow_symlinks=False)
    except FileNotFoundError:
        return None
    return Seen(found.st_size, found.st_mtime_ns)


def _free(folder: Path, name: str) -> Path:
    """A place that nothing had: made empty at once, so that nobody else takes it meanwhile."""
    stem, dot, kind = name[:_LONGEST_NAME].partition(".")
    number = 1
    while True:
        place = folder / (f"{stem}{dot}{kind}" if number == 1 else f"{stem}-{number}{dot}{kind}")
        try:
            place.touch(exist_ok=False)
        except FileExistsError:
            number += 1
        else:
            return place


def _text(content: bytes) -> str:
    """The first bytes as text, for a number of plain letters: UTF-16 by its mark, else one byte a letter."""
    is_wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    return content.decode("utf-16" if is_wide else "latin-1", errors="replace")
