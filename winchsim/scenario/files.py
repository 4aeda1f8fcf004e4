"""A user's text file read whole: bounded, UTF-8, and with a message that helps when it cannot
be."""

import errno
import os
from itertools import islice

from winchsim.errors import Code, InputError, nearest, refused

STDIN = "-"
"""Name of a file that means standard input."""

_MAX_LISTED = 8
_MAX_SCANNED = 2000


def read_text(path: str, limit: int, what: str, suffix: str = ".toml") -> str:
    """Text of a file.

    Parameters
    ----------
    path : str
        File as the user typed it; ``-`` is standard input.
    limit : int
        Largest size that is read. [bytes]
    what : str
        What the file should be, with an article, for messages.
    suffix : str
        Ending of such files, to list those that are there when this one is not.

    Returns
    -------
    str
        Without a byte order mark.

    Raises
    ------
    InputError
        The file is missing, a folder, too large, not UTF-8 or may not be read.
    """
    path = os.fspath(path)
    try:
        with open(0 if path == STDIN else path, "rb", closefd=path != STDIN) as file:
            data = file.read(limit + 1)
            size = max(os.fstat(file.fileno()).st_size, len(data))
    except (OSError, ValueError) as error:
        raise _unreadable(path, error, what, suffix) from error
    if len(data) > limit:
        most = f"{limit / 1e6:g} MB"
        shown = f"{size / 1e6:.1f} MB" if size > limit + 1 else f"over {most}"
        raise refused(
            f"the file is too large: {shown}", file=path, code=Code.TOO_LARGE,
            expected=f"{what} of at most {most}",
        )  # fmt: skip
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refused(
            f"not UTF-8: byte 0x{data[error.start]:02x} at offset {error.start}", file=path,
            line=data.count(b"\n", 0, error.start) + 1, expected=f"{what} as UTF-8 text",
            hint="save the file as UTF-8", code=Code.NOT_UTF8,
        ) from error  # fmt: skip


_REASONS = {
    errno.ENOENT: "no such file",
    errno.ENOTDIR: "no such file",
    errno.EISDIR: "this is a folder, not a file",
    errno.EACCES: "you may not read this file",
}


def _unreadable(path: str, error: OSError | ValueError, what: str, suffix: str) -> InputError:
    number = getattr(error, "errno", None) or 0
    inside = path
    if os.path.isdir(path.replace("\0", "")):
        number, inside = errno.EISDIR, os.path.join(path, "")
    other = (getattr(error, "strerror", None) or "not a file name").lower()
    is_elsewhere = number in _REASONS and number != errno.EACCES
    return refused(
        _REASONS.get(number, f"cannot be read: {other}"), file=path,
        expected=f"{what} file ({suffix})",
        hint=_neighbours(inside, suffix) if is_elsewhere else "",
    )  # fmt: skip


def _neighbours(path: str, suffix: str) -> str:
    """What files of the kind wanted are in the folder that a path points into."""
    folder, name = os.path.split(path)
    try:
        with os.scandir(folder or ".") as entries:
            names = sorted(e.name for e in islice(entries, _MAX_SCANNED) if e.name.endswith(suffix))
    except OSError:
        return f"there is no folder {folder}"
    place = f"in {folder or 'this folder'}"
    if not names:
        return f"there are no {suffix} files {place}"
    near = nearest(name.removesuffix(suffix), (n.removesuffix(suffix) for n in names))
    listed = ", ".join(names[:_MAX_LISTED]) + (", ..." if len(names) > _MAX_LISTED else "")
    question = f'did you mean "{os.path.join(folder, near + suffix)}"? ' if near else ""
    return f"{question}{place}: {listed}"
