"""Several files of one result, written into a folder: all of them, or none where one stands in the way."""

from __future__ import annotations

import os
from collections.abc import Mapping

from winchsim.errors import OutputError
from winchsim.report.files import EXISTS_HINT, write_whole


def write_folder(folder: str, files: Mapping[str, str | bytes], *, force: bool = False) -> list[str]:
    """Write files into a folder, which is made where it is not there.

    Parameters
    ----------
    folder : str
        As the user typed it; its parent must exist.
    files : Mapping of str to str or bytes
        Content by plain file name.
    force : bool
        Whether files that are there may be replaced.

    Returns
    -------
    list of str
        Paths written, in the order of `files`.

    Raises
    ------
    OutputError
        A file is there and `force` is not set (then nothing is written), or something cannot be written.
    """
    paths = {os.path.join(folder, name): content for name, content in files.items()}
    there = [path for path in paths if os.path.lexists(path)]
    if there and not force:
        more = f", and {len(there) - 1} more" if len(there) > 1 else ""
        raise OutputError(there[0], f"this file exists{more}; nothing was written", EXISTS_HINT)
    _make(folder)
    for path, content in paths.items():
        write_whole(path, content, force=force)
    return list(paths)


def _make(folder: str) -> None:
    try:
        os.mkdir(folder)
    except FileExistsError as error:
        if not os.path.isdir(folder):
            raise OutputError(folder, "this is a file, not a folder", "give the name of a folder") from error
    except FileNotFoundError as error:
        raise OutputError(folder, "there is no folder to put it in", "make its parent folder first") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "not a folder name"
        raise OutputError(folder, f"cannot be made: {reason.lower()}") from error
