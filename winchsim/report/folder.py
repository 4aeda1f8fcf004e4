"""Several files of one result in a folder: all of them or none, and never over one that is there unless told to."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager

from winchsim.errors import OutputError
from winchsim.report.files import as_bytes
from winchsim.report.staging import EXISTS, EXISTS_HINT, NONE_WRITTEN, fill, held, put_files, staging, told, try_place

_FORBIDDEN = frozenset('<>:"/\\|?*')
_RESERVED = {"CON", "PRN", "AUX", "NUL", *(f"{port}{number}" for port in ("COM", "LPT") for number in range(10))}
_LONGEST = 120  # bytes; every file system takes such a name, with the folder before it


def check_folder(folder: str, names: Iterable[str], *, force: bool = False) -> None:
    """Raise what `write_folder` would, before the work that makes the files.

    Parameters
    ----------
    folder : str
        As the user typed it.
    names : Iterable of str
        Plain names of all files that may be written.
    force : bool
        Whether files that are there may be replaced.

    Raises
    ------
    OutputError
        As `write_folder`, with the same words.
    """
    with told(folder, "folder", NONE_WRITTEN):
        target, is_new = _target(folder, tuple(names), force)
        try_place(os.path.dirname(target) if is_new else target)


def write_folder(folder: str, files: Mapping[str, str | bytes], *, force: bool = False) -> list[str]:
    """Write files into a folder, which is made where it is not there.

    Parameters
    ----------
    folder : str
        As the user typed it; its parent must exist.
    files : Mapping of str to str or bytes
        Content by plain file name.
    force : bool
        Whether files that are there may be replaced; a link is replaced itself, never what it leads to.

    Returns
    -------
    list of str
        Paths written, in the order of `files`.

    Raises
    ------
    OutputError
        A file is there and `force` is not set, or something cannot be written: what was there is there, and nothing else.
    """
    contents = {name: as_bytes(data) for name, data in files.items()}
    paths = {name: os.path.join(folder, name) for name in contents}

    def telling(name: str) -> AbstractContextManager[None]:
        return told(paths[name], after=NONE_WRITTEN)

    with told(folder, "folder", NONE_WRITTEN):
        target, is_new = _target(folder, tuple(contents), force)
        if not is_new:
            put_files(target, contents, telling, force=force)
        else:
            with held() as heed, staging(os.path.dirname(target)) as part:
                fill(part, contents, telling, heed)
                os.rename(part.new(), target)
    return list(paths.values())


def _target(folder: str, names: tuple[str, ...], force: bool) -> tuple[str, bool]:
    """Real path of a folder that may be written to, and whether it is still to be made."""
    odd = [name for name in names if not _is_plain(name)]
    if odd:
        raise OutputError(folder, f"{odd[0][:40]!r} is no plain file name{NONE_WRITTEN}", "use letters and digits")
    if not folder:
        raise OutputError("''", f"no folder is named{NONE_WRITTEN}", "give the name of a folder")
    target = os.path.realpath(folder)
    try:
        mode = os.stat(target).st_mode
    except (FileNotFoundError, NotADirectoryError):
        if not os.path.isdir(os.path.dirname(target)):
            raise OutputError(
                folder, f"there is no folder to put it in{NONE_WRITTEN}", "make its parent folder first"
            ) from None
        return target, True
    if not stat.S_ISDIR(mode):
        raise OutputError(folder, f"this is a file, not a folder{NONE_WRITTEN}", "give the name of a folder")
    _refuse_taken(folder, names, force)
    return target, False


def _refuse_taken(folder: str, names: tuple[str, ...], force: bool) -> None:
    """Raise for names that are taken: by a file unless it may be replaced, by anything else always."""
    paths = [os.path.join(folder, name) for name in names]
    there = [path for path in paths if os.path.lexists(path)]
    for path in there:
        if not os.path.islink(path) and not os.path.isfile(path):
            raise OutputError(path, f"this is not a file{NONE_WRITTEN}", "move it away, or write to another folder")
    if there and not force:
        more = f", and {len(there) - 1} more" if len(there) > 1 else ""
        raise OutputError(there[0], f"{EXISTS}{more}{NONE_WRITTEN}", EXISTS_HINT)


def _is_plain(name: str) -> bool:
    """Whether a name stays in its folder, whatever the file system makes of it."""
    return (
        0 < len(name.encode("utf-8", "backslashreplace")) <= _LONGEST
        and name.isprintable()
        and not _FORBIDDEN.intersection(name)
        and not name.startswith((".", " "))
        and not name.endswith((".", " "))
        and name.partition(".")[0].rstrip().upper() not in _RESERVED
    )
