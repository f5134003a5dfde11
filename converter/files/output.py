"""Writing results: checked first, whole or not at all, never over her files unasked."""

from __future__ import annotations

import contextlib
import itertools
import os
import re
import threading
import time
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from converter.errors import ConverterError, OutputError, UsageError

_PART = re.compile(r"^\.onecolour-[0-9a-f]{12}-(\d+)-\d+\.part$")
_STALE_SECONDS: Final = 24 * 3600
_MAX_NAME_BYTES: Final = 200
_counter = itertools.count()
_lock = threading.Lock()


def check_name(name: str) -> str:
    """Return a base name for result files, or raise UsageError.

    Any script, spaces and quotes are welcome; a name may not lead into another folder, hold control
    characters or characters that Windows refuses, or be too long for a file system.
    """
    bad = set('/\\:*?"<>|') & set(name) or {c for c in name if ord(c) < 32}
    if bad:
        raise UsageError(f"The name holds {sorted(bad)[0]!r}.", "Use letters, digits, spaces, dots and dashes.")
    if not name.strip(" .") or name != name.strip() or name.startswith("."):
        raise UsageError(f"'{name}' cannot be a file name.", "Start and end it with a letter or digit.")
    if len(name.encode("utf-8", "surrogatepass")) > _MAX_NAME_BYTES:
        raise UsageError(f"The name is over {_MAX_NAME_BYTES} bytes long.", "Choose a shorter one.")
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        raise UsageError("The name holds characters that cannot be written.", "Choose another with --name.") from None
    return name


def name_from(path: Path) -> str:
    """Return a base name made from a picture's or chart's file name."""
    stem = path.name
    for ending in (".chart.json", path.suffix):
        if ending and stem.lower().endswith(ending.lower()) and len(stem) > len(ending):
            stem = stem[: -len(ending)]
            break
    clean = "".join("-" if c in '/\\:*?"<>|' or ord(c) < 32 or "\ud800" <= c <= "\udfff" else c for c in stem)
    clean = clean.strip(" .") or "chart"
    while len(clean.encode("utf-8")) > _MAX_NAME_BYTES:
        clean = clean[:-1]
    return clean.strip(" .") or "chart"


def check_targets(paths: Iterable[Path], overwrite: bool) -> None:
    """Make sure that results can be written, before long work starts.

    Makes missing folders and tries a small file in each; both are taken away again, so that a request which
    turns out to be impossible leaves nothing behind. `make_folders` makes them for good.

    Raises
    ------
    OutputError
        If a file is there already and may not be replaced, or a folder cannot be written.
    """
    paths = list(paths)
    for folder in dict.fromkeys(p.parent for p in paths):
        _check_folder(folder)
    for path in paths:
        try:
            there = path.is_symlink() or path.exists()
            is_folder = path.is_dir()
        except OSError as error:
            raise _as_output_error(error, path) from None
        if is_folder:
            raise OutputError(f"'{path}' is a folder.", "Choose another name with --name.")
        if there and not overwrite:
            raise OutputError(
                f"'{path}' is there already and was left as it is.",
                "Give another --name or --out, or --overwrite to replace it.",
            )


def make_folders(paths: Iterable[Path]) -> None:
    """Make the folders that results go to, where they are missing.

    Raises
    ------
    OutputError
        If a folder cannot be made.
    """
    for folder in dict.fromkeys(path.parent for path in paths):
        _make_folder(folder)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise OutputError(f"'{folder}' is a file, not a folder.", "Choose another folder with --out.") from None
    except OSError as error:
        raise _as_output_error(error, folder) from None
    if not folder.is_dir():
        raise OutputError(f"'{folder}' is not a folder.", "Choose another folder with --out.")


def _check_folder(folder: Path) -> None:
    missing = []
    with contextlib.suppress(OSError):
        missing = list(itertools.takewhile(lambda parent: not os.path.lexists(parent), (folder, *folder.parents)))
    trial = _part_path(folder / "trial")
    try:
        _make_folder(folder)
        with trial.open("xb"):
            pass
    except OSError as error:
        raise _as_output_error(error, folder) from None
    finally:
        with contextlib.suppress(OSError):
            trial.unlink()
        _sweep(folder)
        with contextlib.suppress(OSError):
            for made in missing:
                made.rmdir()


def write_whole(path: Path | str, data: bytes, overwrite: bool = False) -> Path:
    """Write a file so that it is there whole or not at all.

    The bytes go to a new file in the same folder, which then takes the name in one step; an
    interrupted run leaves the old file as it was, and what it left beside it is swept away by the next.

    Parameters
    ----------
    path : Path
    data : bytes
    overwrite : bool
        Replace a file that is there.

    Returns
    -------
    path : Path

    Raises
    ------
    OutputError
        If the file is there and ``overwrite`` is False, or it cannot be written.
    """
    path = Path(path)
    if overwrite and _is_place_of_its_own(path):
        return _write_through(path, data)
    check_exists = OutputError(
        f"'{path}' is there already and was left as it is.",
        "Give another --name or --out, or --overwrite to replace it.",
    )
    if not overwrite and (path.exists() or path.is_symlink()):
        raise check_exists
    part = _part_path(path)
    try:
        with part.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if overwrite:
            part.replace(path)
        else:
            _take_name(part, path)
    except FileExistsError:
        raise check_exists from None
    except OSError as error:
        raise _as_output_error(error, path) from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink()
    return path


def _is_place_of_its_own(path: Path) -> bool:
    """Return whether a path is a link, pipe or device, which is written through and stays what it is."""
    try:
        return path.is_symlink() or (path.exists() and not path.is_file() and not path.is_dir())
    except OSError:
        return False


def _write_through(path: Path, data: bytes) -> Path:
    try:
        real = path.resolve()
        if real == path.absolute() or (real.exists() and not real.is_file() and not real.is_dir()):
            with path.open("wb") as stream:
                stream.write(data)
        else:
            write_whole(real, data, overwrite=True)
    except (OSError, RuntimeError) as error:
        raise _as_output_error(error if isinstance(error, OSError) else OSError(str(error)), path) from None
    return path


def _take_name(part: Path, path: Path) -> None:
    """Give the part its name only if nobody else has taken it meanwhile."""
    try:
        path.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:
        # File systems without hard links (memory cards): a short window remains, but the file stays whole.
        if path.exists():
            raise FileExistsError from None
        part.replace(path)


def _part_path(path: Path) -> Path:
    name = path.name.encode("utf-8", "surrogatepass")
    digest = f"{zlib.crc32(name):08x}{zlib.adler32(name) & 0xFFFF:04x}"
    with _lock:
        number = next(_counter)
    return path.parent / f".onecolour-{digest}-{os.getpid()}-{number}.part"


def _sweep(folder: Path) -> None:
    """Remove parts that interrupted runs left behind."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            found = _PART.match(entry.name)
            if found is None or int(found[1]) == os.getpid():
                continue
            with contextlib.suppress(OSError):
                if not _is_running(int(found[1])) or time.time() - entry.stat().st_mtime > _STALE_SECONDS:
                    Path(entry.path).unlink()


def _is_running(pid: int) -> bool:
    if os.name == "nt":  # pragma: no cover
        # Signal 0 would end the process there; an open file cannot be removed anyway.
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _as_output_error(error: OSError, path: Path) -> ConverterError:
    reasons = {
        "ENOSPC": ("The disk is full", "Make room or choose another folder with --out."),
        "EDQUOT": ("The disk quota is used up", "Make room or choose another folder with --out."),
        "EROFS": ("The disk is read-only", "Choose another folder with --out."),
        "EACCES": ("Writing is not allowed there", "Choose another folder with --out."),
        "EPERM": ("Writing is not allowed there", "Choose another folder with --out."),
        "ENAMETOOLONG": ("The name is too long", "Choose a shorter --name or --out."),
        "ENOTDIR": ("A part of the path is not a folder", "Choose another folder with --out."),
        "ELOOP": ("The path runs in a circle", "Choose another folder with --out."),
    }
    import errno

    code = errno.errorcode.get(error.errno or 0, "")
    reason, hint = reasons.get(code, (error.strerror or "Writing failed", "Choose another folder with --out."))
    return OutputError(f"'{path}' cannot be written: {reason[0].lower()}{reason[1:]}.", hint)


def planned_files(folder: Path, name: str, suffixes: Iterable[str]) -> list[Path]:
    """Return the files that a job will write."""
    return [folder / f"{name}{suffix}" for suffix in suffixes]


def write_outputs(outputs: Mapping[str, bytes], folder: Path, name: str, overwrite: bool) -> list[Path]:
    """Write results, each whole or not at all.

    Parameters
    ----------
    outputs : mapping of suffix to bytes
    """
    targets = planned_files(folder, name, outputs)
    check_targets(targets, overwrite)
    make_folders(targets)
    return [write_whole(folder / f"{name}{suffix}", data, overwrite) for suffix, data in outputs.items()]
