"""Make the project's own environment in .venv: standard library alone, no shell, no root."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / ".venv"
OLDEST = (3, 11)


class SetupError(Exception):
    """One sentence for the terminal."""


def python_path() -> Path:
    return FOLDER / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _fingerprint(extras: tuple[str, ...]) -> str:
    text = (ROOT / "pyproject.toml").read_bytes() + repr((extras, sys.version_info[:2], str(ROOT))).encode()
    return hashlib.sha256(text).hexdigest()


def _works(python: Path) -> bool:
    if not python.exists():
        return False
    try:
        done = subprocess.run([str(python), "-m", "pip", "--version"], capture_output=True, timeout=120, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def prepare(*extras: str) -> Path:
    """Return the Python of an environment that holds the project with its extras.

    A used environment is kept as it is when nothing it was made from has changed.
    """
    if sys.version_info[:2] < OLDEST:
        raise SetupError(
            f"This is Python {sys.version_info[0]}.{sys.version_info[1]}; install Python 3.11 or newer and use that."
        )
    python = python_path()
    marker = FOLDER / f"ready-{'-'.join(extras)}.txt"
    wanted = _fingerprint(extras)
    if _works(python):
        if marker.exists() and marker.read_text(encoding="utf-8") == wanted and _imports(python) is None:
            _compile(python)
            return python
    else:
        print(f"Making {FOLDER.name} ...", flush=True)
        try:
            venv.EnvBuilder(with_pip=True, clear=FOLDER.exists(), symlinks=os.name != "nt").create(FOLDER)
        except (OSError, subprocess.CalledProcessError, SystemExit) as error:
            raise SetupError(
                f"Python cannot make an environment here ({error}); on Debian or Ubuntu install python3-venv."
            ) from None
    print("Installing what the program needs (some minutes the first time) ...", flush=True)
    target = f"{ROOT}[{','.join(extras)}]" if extras else str(ROOT)
    command = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-e", target]
    done = subprocess.run(command, cwd=ROOT, check=False)
    if done.returncode:
        raise SetupError("Installing failed (see above); check the connection to the internet, then run this again.")
    problem = _imports(python)
    if problem is not None:
        raise SetupError(problem)
    marker.write_text(wanted, encoding="utf-8")
    _compile(python)
    return python


def _compile(python: Path) -> None:
    """Keep the modules compiled, as an installed package has them: every start is a third of a second shorter.

    Where the surroundings forbid Python to do so by itself, it reads them all the same.
    """
    subprocess.run([str(python), "-m", "compileall", "-q", str(ROOT / "converter")], capture_output=True, check=False)


def _imports(python: Path) -> str | None:
    """Return one sentence if the libraries do not load, else None."""
    code = "import numpy, cv2, skimage, scipy, PIL, click, reportlab, converter"
    done = subprocess.run([str(python), "-c", code], capture_output=True, text=True, check=False, cwd=ROOT)
    if done.returncode == 0:
        return None
    last = (done.stderr.strip().splitlines() or ["no message"])[-1]
    if ".so" in last and "cannot open shared object" in last:
        library = last.split(":")[1].strip() if ":" in last else last
        return f"The system library {library} is missing; install it with your system's package manager and run again."
    return f"The libraries do not load ({last}); delete the folder .venv and run this again."
