"""Writing of result files: each complete or not at all, and a set of files by one writer at a time.

New content waits in a temporary file beside its place, down to the disk, and then replaces what has
the name. A set of files keeps the list of its names in `JOURNAL` while they are put in place. A run
that is killed in between leaves that list, and the next one reports it.
"""

import contextlib
import errno
import json
import os
import stat
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

from winchsim.errors import OutputError

try:
    import fcntl
except ImportError:  # a system without it: two writers are not kept apart there
    fcntl = None  # type: ignore[assignment]

JOURNAL = ".winchsim-writing"
"""File with the names that are being replaced in its folder. The folder itself is locked."""

PART = ".winchsim-part-"
"""How the name of a temporary file begins."""

LONGEST_WAIT = 10.0
"""Longest wait for another writer. [s]"""

_NOTHING = "; nothing was written"
_HINTS = {
    **dict.fromkeys(
        (errno.ENOSPC, errno.EDQUOT, errno.EFBIG), "make room there, or write to another place"
    ),
    **dict.fromkeys((errno.EROFS, errno.EACCES, errno.EPERM), "write to a place where you may"),
    errno.ENAMETOOLONG: "give a shorter name",
}

_REFUSALS = (
    (FileExistsError, "this file exists", "--force replaces it"),
    (FileNotFoundError, "there is no such folder", "make the folder first"),
    (NotADirectoryError, "there is no such folder", "make the folder first"),
    (ValueError, "cannot be written: not a file name", "give a name without odd characters"),
)
"""By kind of error: reason and hint."""


@contextlib.contextmanager
def refusals(path: str, after: str = "") -> Iterator[None]:
    """Turn what the operating system refuses into an `OutputError`, `after` behind its reason."""
    try:
        yield
    except BrokenPipeError:  # a reader that has gone away is no error of the place
        raise
    except (OSError, ValueError) as error:
        why = str(getattr(error, "strerror", None) or error).lower()
        hint = _HINTS.get(getattr(error, "errno", None) or 0, "write to another place")
        other = Exception, f"cannot be written: {why}", hint
        _, reason, hint = next(row for row in (*_REFUSALS, other) if isinstance(error, row[0]))
        raise OutputError(path, reason + after, hint) from error


def check_file(path: str, *, force: bool = False) -> tuple[str, ...]:
    """Raise what `write_file` would, before the work; returns names as `check_folder` does."""
    with refusals(path):
        target = _file_target(path, force)
        return () if target is None else _left_by_a_killed_run(os.path.dirname(target))


def check_folder(folder: str, names: Iterable[str], *, force: bool = False) -> tuple[str, ...]:
    """Raise what `write_folder` would, before the work that makes the files.

    Returns
    -------
    tuple of str
        Names that an earlier run was replacing when it was killed: these files may be of two runs.
    """
    with refusals(folder, _NOTHING):
        target = _folder_target(folder, names, force)
        return _left_by_a_killed_run(target if os.path.isdir(target) else os.path.dirname(target))


def write_file(path: str, data: str | bytes, *, force: bool = False) -> None:
    """Write one file.

    Parameters
    ----------
    path : str
        File as the user typed it. A device or pipe (``/dev/stdout``) is written to directly.
    data : str or bytes
        The complete content; text is written as UTF-8.
    force : bool
        Whether a file may be replaced. It keeps its permissions; a link to it remains a link.

    Raises
    ------
    OutputError
        The file exists and `force` is not set, or it cannot be written. It is then unchanged.
    """
    with refusals(path):
        target = _file_target(path, force)
        if target is None:
            Path(path).write_bytes(_as_bytes(data))
        else:
            _put(os.path.dirname(target), {os.path.basename(target): data}, force)


def write_folder(
    folder: str, files: Mapping[str, str | bytes], *, force: bool = False
) -> list[str]:
    """Write a set of files into a folder, which is made if its parent exists.

    Parameters
    ----------
    folder : str
        As the user typed it.
    files : Mapping of str to str or bytes
        Content by plain file name.
    force : bool
        Whether files may be replaced. A link is replaced itself, never the file that it leads to.

    Returns
    -------
    list of str
        Paths written, in the order of `files`.

    Raises
    ------
    OutputError
        A file exists and `force` is not set, or one cannot be written. The reason names the files
        that were replaced before that, if any.
    """
    with refusals(folder, _NOTHING), contextlib.ExitStack() as undo:
        target = _folder_target(folder, files, force)
        if not os.path.isdir(target):
            os.mkdir(target)
            undo.callback(_remove, os.rmdir, target)  # where nothing was put into it
        _put(target, files, force)
    return [os.path.join(folder, name) for name in files]


def _remove(remove: Callable[[str], None], path: str) -> None:
    """Remove what is there and may go: a folder stays if anything is in it."""
    with contextlib.suppress(OSError):
        remove(path)


def _as_bytes(data: str | bytes) -> bytes:
    return data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data


def _file_target(path: str, force: bool) -> str | None:
    """Real path of a file that may be written; None for a device or pipe."""
    if not path:
        raise OutputError("''", "no file is named", "give a file name")
    with contextlib.suppress(FileNotFoundError):
        os.lstat(path)  # refuses an impossible name
    if path.endswith(os.sep) or os.path.isdir(path):
        raise OutputError(path, "this is a folder", "give the name of a file in it")
    if os.path.exists(path) and not os.path.isfile(path):
        return None
    if os.path.lexists(path) and not force:  # a link that leads nowhere too
        raise FileExistsError
    return os.path.realpath(path)


def _folder_target(folder: str, names: Iterable[str], force: bool) -> str:
    """Real path of a folder that may be written to or made."""
    name_it, target = "give the name of a folder", os.path.realpath(folder)
    if not folder:
        raise OutputError("''", f"no folder is named{_NOTHING}", name_it)
    with contextlib.suppress(FileNotFoundError):
        os.lstat(target)  # refuses an impossible name
    place = target if os.path.lexists(target) else os.path.dirname(target)
    if not stat.S_ISDIR(os.stat(place).st_mode):
        raise OutputError(folder, f"this is a file, not a folder{_NOTHING}", name_it)
    taken = [path for name in names if os.path.lexists(path := os.path.join(folder, name))]
    for path in taken:
        if not os.path.islink(path) and not os.path.isfile(path):
            raise OutputError(
                path, f"this is not a file{_NOTHING}", "move it away, or write to another folder"
            )
    if taken and not force:
        more = f", and {len(taken) - 1} more" if len(taken) > 1 else ""
        raise OutputError(taken[0], f"this file exists{more}{_NOTHING}", "--force replaces it")
    return target


@contextlib.contextmanager
def _only_writer(folder: str) -> Iterator[None]:
    """Hold the lock of a folder, as soon as no other run does."""
    if fcntl is None:
        yield
        return
    end, place = time.monotonic() + LONGEST_WAIT, os.open(folder, os.O_RDONLY)
    try:
        while _is_locked(place):
            if time.monotonic() > end:
                raise OutputError(
                    folder, f"another run is writing there{_NOTHING}", "wait until it has ended"
                )
            time.sleep(0.02)
        yield
    finally:
        os.close(place)


def _is_locked(place: int) -> bool:
    """Lock a folder. Whether another run holds it; a file system without locks has none."""
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return isinstance(error, BlockingIOError)
    return False


def _left_by_a_killed_run(folder: str) -> tuple[str, ...]:
    with _only_writer(folder):
        if not os.access(folder, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return tuple(_noted(folder))


def _noted(folder: str) -> list[str]:
    """Names in the journal; one that is cut short is of a run that had not replaced a file yet."""
    try:
        return [str(name) for name in json.loads(Path(folder, JOURNAL).read_bytes())]
    except (FileNotFoundError, ValueError):
        return []


def _note(folder: str, names: Iterable[str]) -> None:
    """Keep names in the journal; none removes it."""
    path, kept = os.path.join(folder, JOURNAL), sorted(names)
    _remove(os.unlink, path)
    if kept:
        _write(path, json.dumps(kept).encode())


def _write(path: str, content: bytes) -> None:
    """Write a new file, down to the disk, in the place of one that a killed run left."""
    _remove(os.unlink, path)
    with open(path, "xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _put(folder: str, files: Mapping[str, str | bytes], force: bool) -> None:
    """Write files into an existing folder: all to temporary files first, each with the permissions
    of the file that it will replace, then to their places."""
    parts = {name: os.path.join(folder, f"{PART}{number}") for number, name in enumerate(files)}
    with _only_writer(folder):
        mixed, placed = set(_noted(folder)), list[str]()
        try:
            for name, data in files.items():
                target = Path(folder, name)
                _write(parts[name], _as_bytes(data))
                if target.is_file() and not target.is_symlink():
                    os.chmod(parts[name], stat.S_IMODE(target.stat().st_mode))
            if len(files) > 1:
                _note(folder, mixed | files.keys())
            for name in files:
                target = Path(folder, name)
                if not force and os.path.lexists(target):
                    raise FileExistsError(target)
                os.replace(parts[name], target)
                placed.append(name)
            _note(folder, mixed - files.keys())
        except OSError:
            if not placed:
                _note(folder, mixed)
            after = f"; already written: {', '.join(placed)}" if placed else _NOTHING
            with refusals(os.path.join(folder, name), after if len(files) > 1 else ""):
                raise
        finally:
            for part in parts.values():
                _remove(os.unlink, part)
