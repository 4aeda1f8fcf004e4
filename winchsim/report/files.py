"""The only place that writes files: whole or not at all, and never over a file that is there unless told to."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile

from winchsim.errors import OutputError

EXISTS_HINT = "--force replaces it"


def write_whole(path: str, data: str | bytes, *, force: bool = False) -> None:
    """Write a file so that nobody ever finds half of it.

    Parameters
    ----------
    path : str
        File as the user typed it. A device or pipe (``/dev/stdout``) is written to directly.
    data : str or bytes
        The whole content; text is written as UTF-8.
    force : bool
        Whether a file that is there may be replaced; it keeps its permissions.

    Raises
    ------
    OutputError
        The file exists and `force` is not set, or it cannot be written.
    """
    path = os.fspath(path)
    content = data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data
    try:
        mode = _mode(path)
        if mode is not None and not stat.S_ISREG(mode):
            if stat.S_ISDIR(mode):
                raise OutputError(path, "this is a folder", "give the name of a file in it")
            with open(path, "wb") as device:
                device.write(content)
        elif mode is not None and not force:
            raise OutputError(path, "this file exists", EXISTS_HINT)
        else:
            _replace(os.path.realpath(path), path, content, mode, force)
    except FileExistsError as error:
        raise OutputError(path, "this file exists", EXISTS_HINT) from error
    except FileNotFoundError as error:
        raise OutputError(path, "there is no such folder", "make the folder first") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "not a file name"
        raise OutputError(path, f"cannot be written: {reason.lower()}") from error


def _mode(path: str) -> int | None:
    """Type and permissions of what stands at a path; None for nothing."""
    try:
        return os.stat(path).st_mode
    except FileNotFoundError:
        return None


def _replace(target: str, path: str, content: bytes, mode: int | None, force: bool) -> None:
    """Write beside the target, then put it in place in one step."""
    folder, name = os.path.split(target)
    if not name:
        raise OutputError(path, "this is a folder", "give the name of a file in it")
    handle, temporary = tempfile.mkstemp(prefix=f".{name[:80]}.", dir=folder or ".")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, stat.S_IMODE(mode) if mode is not None else 0o666 & ~_umask())
        if force:
            os.replace(temporary, target)
        else:
            _link(temporary, target)
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(temporary)


def _link(temporary: str, target: str) -> None:
    """Give the target its name unless somebody else has taken it meanwhile."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.exists(target):
            raise FileExistsError(target) from None
        os.replace(temporary, target)


def _umask() -> int:
    current = os.umask(0o022)
    os.umask(current)
    return current
