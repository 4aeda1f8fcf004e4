"""Writing of result files: each complete or not at all, and a set of files by one writer at a time.

New content waits in a temporary file beside its place, down to the disk, and then replaces what has
the name. A set of files keeps the list of its names in `JOURNAL` while they are put in place. A run
that is killed in between leaves that list, and the next one reports it.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import stat
import time
from collections.abc import Iterable, Iterator, Mapping
from typing import BinaryIO

from winchsim.errors import OutputError

try:
    import fcntl
except ImportError:  # a system without it: two writers are not kept apart there
    fcntl = None  # type: ignore[assignment]

JOURNAL = ".winchsim-writing"
"""File that is locked while a folder is written to. It holds the names that are being replaced."""

PART = ".winchsim-part-"
"""How the name of a temporary file begins."""

LONGEST_WAIT = 10.0
"""Longest wait for another writer. [s]"""

_SPACE = "make room there, or write to another place"
_RIGHTS = "write to a place where you may"
_HINTS = {
    errno.ENOSPC: _SPACE,
    errno.EDQUOT: _SPACE,
    errno.EFBIG: _SPACE,
    errno.EROFS: _RIGHTS,
    errno.EACCES: _RIGHTS,
    errno.EPERM: _RIGHTS,
    errno.ENAMETOOLONG: "give a shorter name",
}


@contextlib.contextmanager
def refusals(path: str, after: str = "") -> Iterator[None]:
    """Turn what the operating system refuses into an `OutputError`, `after` behind its reason."""
    try:
        yield
    except BrokenPipeError:  # a reader that has gone away is no error of the place
        raise
    except FileExistsError as error:
        raise OutputError(path, f"this file exists{after}", "--force replaces it") from error
    except (FileNotFoundError, NotADirectoryError) as error:
        reason = f"there is no such folder{after}"
        raise OutputError(path, reason, "make the folder first") from error
    except OSError as error:
        reason = f"cannot be written: {(error.strerror or str(error)).lower()}{after}"
        hint = _HINTS.get(error.errno or 0, "write to another place")
        raise OutputError(path, reason, hint) from error
    except ValueError as error:
        reason = f"cannot be written: not a file name{after}"
        raise OutputError(path, reason, "give a name without odd characters") from error


def check_file(path: str, *, force: bool = False) -> tuple[str, ...]:
    """Raise what `write_file` would, before the work; returns names as `check_folder` does."""
    with refusals(path):
        target = _file_target(path, force)
        if target is None:
            return ()
        with _writer(os.path.dirname(target)) as journal:
            return tuple(_names(journal))


def check_folder(folder: str, names: Iterable[str], *, force: bool = False) -> tuple[str, ...]:
    """Raise what `write_folder` would, before the work that makes the files.

    Returns
    -------
    tuple of str
        Names that an earlier run was replacing when it was killed: these files may be of two runs.
    """
    with refusals(folder, "; nothing was written"):
        target = _folder_target(folder, names, force)
        place = target if os.path.isdir(target) else os.path.dirname(target)
        with _writer(place) as journal:
            return tuple(_names(journal))


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
            with open(path, "wb") as device:
                device.write(_as_bytes(data))
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
    with refusals(folder, "; nothing was written"):
        target = _folder_target(folder, files, force)
        is_new = not os.path.isdir(target)
        if is_new:
            os.mkdir(target)
        try:
            _put(target, files, force)
        except BaseException:
            if is_new:
                with contextlib.suppress(OSError):  # it stays if anything is in it
                    os.rmdir(target)
            raise
    return [os.path.join(folder, name) for name in files]


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
    after = "; nothing was written"
    if not folder:
        raise OutputError("''", f"no folder is named{after}", "give the name of a folder")
    target = os.path.realpath(folder)
    with contextlib.suppress(FileNotFoundError):
        os.lstat(target)  # refuses an impossible name
    place = target if os.path.lexists(target) else os.path.dirname(target)
    if not stat.S_ISDIR(os.stat(place).st_mode):
        reason = f"this is a file, not a folder{after}"
        raise OutputError(folder, reason, "give the name of a folder")
    taken = [os.path.join(folder, name) for name in names]
    taken = [path for path in taken if os.path.lexists(path)]
    for path in taken:
        if not os.path.islink(path) and not os.path.isfile(path):
            hint = "move it away, or write to another folder"
            raise OutputError(path, f"this is not a file{after}", hint)
    if taken and not force:
        more = f", and {len(taken) - 1} more" if len(taken) > 1 else ""
        reason = f"this file exists{more}{after}"
        raise OutputError(taken[0], reason, "--force replaces it")
    return target


@contextlib.contextmanager
def _writer(folder: str) -> Iterator[BinaryIO]:
    """Locked journal of the only writer in a folder. It goes at the end unless it holds names."""
    path = os.path.join(folder, JOURNAL)
    begun = time.monotonic()
    while True:
        with open(path, "a+b") as journal:
            if _lock(journal) and _is_at(journal, path):
                try:
                    yield journal
                finally:
                    if not os.fstat(journal.fileno()).st_size:
                        with contextlib.suppress(OSError):  # some systems keep an open file
                            os.unlink(path)
                return
        if time.monotonic() - begun > LONGEST_WAIT:
            reason = "another run is writing there; nothing was written"
            raise OutputError(folder, reason, "wait until it has ended")
        time.sleep(0.02)


def _is_at(file: BinaryIO, path: str) -> bool:
    """Whether an open file still has its name: a writer that has ended removes it."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), os.stat(path))
    except FileNotFoundError:
        return False


def _lock(file: BinaryIO) -> bool:
    """Whether a file could be locked. A file system without locks has nothing to wait for."""
    try:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno not in (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES)
    return True


def _names(journal: BinaryIO) -> list[str]:
    """Names in the journal; one that is cut short is of a run that had not replaced a file yet."""
    journal.seek(0)
    try:
        return [str(name) for name in json.loads(journal.read() or b"[]")]
    except ValueError:
        return []


def _note(journal: BinaryIO, names: list[str]) -> None:
    journal.truncate(0)
    if names:
        journal.write(json.dumps(names).encode())
        journal.flush()
        os.fsync(journal.fileno())


def _put(folder: str, files: Mapping[str, str | bytes], force: bool) -> None:
    """Write files into an existing folder: all to temporary files first, then to their places."""
    parts = {name: os.path.join(folder, f"{PART}{number}") for number, name in enumerate(files)}
    with _writer(folder) as journal:
        mixed = _names(journal)
        placed: list[str] = []
        try:
            for name, data in files.items():
                _write_part(parts[name], _as_bytes(data), os.path.join(folder, name))
            if len(files) > 1:
                _note(journal, sorted({*mixed, *files}))
            for name in files:
                _place(parts[name], os.path.join(folder, name), force)
                placed.append(name)
            _note(journal, [name for name in mixed if name not in files])
        except OSError:
            done = ", ".join(placed)
            after = f"; already written: {done}" if done else "; nothing was written"
            if not placed:
                _note(journal, mixed)
            with refusals(os.path.join(folder, name), after if len(files) > 1 else ""):
                raise
        finally:
            for part in parts.values():
                with contextlib.suppress(OSError):
                    os.unlink(part)


def _write_part(part: str, content: bytes, target: str) -> None:
    """Write a temporary file, with the permissions of the file that it will replace."""
    with contextlib.suppress(FileNotFoundError):
        os.unlink(part)  # of a run that was killed
    with open(part, "xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    if os.path.isfile(target) and not os.path.islink(target):
        os.chmod(part, stat.S_IMODE(os.stat(target).st_mode))


def _place(part: str, target: str, force: bool) -> None:
    """Give a temporary file its name; without `force` only a name that is free."""
    if not force:
        try:
            os.link(part, target)
            return
        except FileExistsError:
            raise
        except OSError:  # a file system without hard links
            if os.path.lexists(target):
                raise FileExistsError(target) from None
    os.replace(part, target)
