"""One file, written whole or not at all, and never over one that is there unless told to."""

from __future__ import annotations

import os
import stat

from winchsim.errors import OutputError
from winchsim.report.staging import EXISTS, EXISTS_HINT, put_files, told, try_place

NAME_HINT = "give the name of a file in it"


def as_bytes(data: str | bytes) -> bytes:
    """Content as it is written: text as UTF-8."""
    return data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data


def check_file(path: str, *, force: bool = False) -> None:
    """Raise what `write_whole` would, before the work that makes the content.

    Parameters
    ----------
    path : str
        File as the user typed it.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    OutputError
        As `write_whole`, with the same words.
    """
    with told(path):
        target = _target(path, force)
        if target is not None:
            try_place(os.path.dirname(target))


def write_whole(path: str, data: str | bytes, *, force: bool = False) -> None:
    """Write a file so that nobody ever finds half of it.

    Parameters
    ----------
    path : str
        File as the user typed it. A device or pipe (``/dev/stdout``) is written to directly.
    data : str or bytes
        The whole content; text is written as UTF-8.
    force : bool
        Whether a file that is there may be replaced; it keeps its permissions, and a link to it stays one.

    Raises
    ------
    OutputError
        The file exists and `force` is not set, or it cannot be written: what was there is there, and nothing else.
    """
    path, content = os.fspath(path), as_bytes(data)
    with told(path):
        target = _target(path, force)
        if target is None:
            with open(path, "wb") as device:
                device.write(content)
            return
        folder, name = os.path.split(target)
        put_files(folder, {name: content}, lambda _: told(path), force=force)


def _target(path: str, force: bool) -> str | None:
    """Real path of a file that may be written; None for what is no file, such as a device."""
    if not path:
        raise OutputError("''", "no file is named", "give a file name")
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        mode = None
    if path.endswith(os.sep) or (mode is not None and stat.S_ISDIR(mode)):
        raise OutputError(path, "this is a folder", NAME_HINT)
    if mode is not None and not stat.S_ISREG(mode):
        return None
    if os.path.lexists(path) and not force:  # a link that leads nowhere as well
        raise OutputError(path, EXISTS, EXISTS_HINT)
    return os.path.realpath(path)
