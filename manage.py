#!/usr/bin/env python3
"""The door to every command. Outside a virtual environment it first makes .venv from the locked requirements."""

import hashlib
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
RUN, TEST = ("django", "weasyprint", "pint", "segno"), ("django", "pytest_django", "hypothesis", "playwright")


def bootstrap(lock: Path) -> None:
    """Make .venv from `lock` unless its stamp (the lock's SHA-256, written last) says that it is there already."""
    VENV.mkdir(exist_ok=True)
    wanted = hashlib.sha256(lock.read_bytes()).hexdigest()
    stamp = VENV / f"{lock.stem}.stamp"
    with (VENV / "bootstrap.lock").open("a") as door:
        if os.name != "nt":
            import fcntl

            fcntl.flock(door, fcntl.LOCK_EX)  # two first calls at once: the second waits, then finds all made
        if stamp.is_file() and stamp.read_text() == wanted:
            return
        if find_spec("ensurepip") is None:
            sys.exit("Python's venv module is incomplete here: install it first (Debian, Ubuntu: python3-venv).")
        print(f"Setting up {VENV.name} from {lock.name} (once; some minutes) ...", file=sys.stderr)
        pip = [str(PYTHON), "-m", "pip", "install", "--quiet", "--require-hashes", "--only-binary", ":all:"]
        try:
            subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=True)
            subprocess.run([*pip, "-r", str(lock)], check=True)
        except subprocess.CalledProcessError:
            sys.exit(f"Could not set up {VENV.name} from {lock.name}; the lines above say why. Then call again.")
        stamp.write_text(wanted)


def main() -> None:
    testing = sys.argv[1:2] == ["test"]
    inside = sys.prefix != sys.base_prefix or os.environ.get("LABRESULTS_NO_VENV") == "1"
    if not inside and not all(find_spec(name) for name in (TEST if testing else RUN)):
        bootstrap(HERE / ("requirements-dev.txt" if testing else "requirements.txt"))
        sys.exit(subprocess.run([str(PYTHON), str(HERE / "manage.py"), *sys.argv[1:]], check=False).returncode)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labresults.config.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit("Django is missing here: pip install --require-hashes -r requirements.txt, or leave this environment.")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
