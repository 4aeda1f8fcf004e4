"""Files that come to stand all together or not at all: made ready in a folder of their own, then put in place by name.

Whatever goes wrong on the way, what was there stays. Only a run that is killed leaves that folder behind; its name begins with
`MARK`, and it holds the new files and the ones that they were to replace.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import signal
import stat
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from winchsim.errors import OutputError

MARK = ".winchsim-part-"
"""How the name of a folder begins in which files are made ready."""

EXISTS = "this file exists"
EXISTS_HINT = "--force replaces it"

NONE_WRITTEN = "; nothing was written"

_ROOM = "make room there, or write to another place"
_RIGHT = "write to a place where you may"
_HINTS = {
    errno.ENOSPC: _ROOM, errno.EDQUOT: _ROOM, errno.EFBIG: _ROOM,
    errno.EROFS: _RIGHT, errno.EACCES: _RIGHT, errno.EPERM: _RIGHT,
    errno.ENAMETOOLONG: "give a shorter name",
}  # fmt: skip

Telling = Callable[[str], contextlib.AbstractContextManager[None]]

_ENDING = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]


@dataclass(frozen=True)
class Part:
    """Folder in which files are made ready.

    Attributes
    ----------
    path : str
        Where it is.
    held_back : list of str
        Old files in it that could not be put back; while there are any, it stays.
    """

    path: str
    held_back: list[str]

    def new(self, name: str = "") -> str:
        """Where a new file waits."""
        return os.path.join(self.path, "new", name) if name else os.path.join(self.path, "new")

    def old(self, name: str = "") -> str:
        """Where the file that it replaces is kept until all are in place."""
        return os.path.join(self.path, "old", name) if name else os.path.join(self.path, "old")


class NotUndoneError(OutputError):
    """Files were being put in place, that failed, and so did undoing it: the reason says which file is where."""


@contextlib.contextmanager
def told(path: str, what: str = "file", after: str = "") -> Iterator[None]:
    """Says what the operating system refuses as an `OutputError`.

    Parameters
    ----------
    path : str
        As the user typed it.
    what : str
        What the path names.
    after : str
        Put behind each reason.
    """
    try:
        yield
    except BrokenPipeError:  # a reader that has gone away is nobody's fault
        raise
    except FileExistsError as error:
        raise OutputError(path, EXISTS + after, EXISTS_HINT) from error
    except (FileNotFoundError, NotADirectoryError) as error:
        raise OutputError(path, "there is no such folder" + after, "make the folder first") from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        hint = _HINTS.get(error.errno or 0, "write to another place")
        raise OutputError(path, f"cannot be written: {reason}{after}", hint) from error
    except ValueError as error:
        raise OutputError(path, f"cannot be written: not a {what} name{after}", "give a name without odd characters") from error


@contextlib.contextmanager
def held() -> Iterator[Callable[[], None]]:
    """Keeps back what asks the process to end, so that it does not end between two steps of one change.

    A `NotUndoneError` goes before it: that ends the process as well, and must be read.

    Yields
    ------
    callable
        Ends the change if that was asked for meanwhile; to be called where everything can still be undone.
    """
    came: list[int] = []

    def heed() -> None:
        if came:
            raise KeyboardInterrupt

    before = {}
    if threading.current_thread() is threading.main_thread():
        for number in _ENDING:
            if signal.getsignal(number) not in (signal.SIG_IGN, None):
                before[number] = signal.signal(number, lambda which, _: came.append(which))
    try:
        yield heed
    except NotUndoneError:
        came.clear()
        raise
    finally:
        for number in reversed(before):
            signal.signal(number, before[number])
        if came:
            signal.raise_signal(came[0])


@contextlib.contextmanager
def staging(folder: str) -> Iterator[Part]:
    """Folder of our own in a folder, for what is not yet in place; gone at the end, whatever happens."""
    part = Part(os.path.join(folder, MARK + os.urandom(6).hex()), [])
    os.mkdir(part.path)
    try:
        yield part
    finally:
        if not part.held_back:
            shutil.rmtree(part.path, ignore_errors=True)


def try_place(folder: str) -> None:
    """Do in a folder what writing into it begins with, so that it is refused now if it would be refused then."""
    with held(), staging(folder):
        pass


def fill(part: Part, files: Mapping[str, bytes], telling: Telling, heed: Callable[[], None]) -> None:
    """Write new files where they wait, down to the disk.

    Parameters
    ----------
    part : Part
    files : Mapping of str to bytes
        Content by plain name.
    telling : callable
        From a name to the `told` of its path.
    heed : callable
        See `held`.
    """
    os.mkdir(part.new())
    for name, content in files.items():
        with telling(name), open(part.new(name), "xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        heed()


def put_files(folder: str, files: Mapping[str, bytes], telling: Telling, *, force: bool) -> None:
    """Write files into a folder that is there.

    Parameters
    ----------
    folder : str
        Its real path.
    files : Mapping of str to bytes
        Content by plain name.
    telling : callable
        From a name to the `told` of its path.
    force : bool
        Whether files that are there may be replaced; they keep their permissions.

    Raises
    ------
    OutputError
        Something cannot be written; then what was there is there, and nothing else.
    NotUndoneError
        In place of whatever went wrong, where what was there could not be put back.
    """
    with held() as heed, staging(folder) as part:
        fill(part, files, telling, heed)
        os.mkdir(part.old())
        placed: list[tuple[str, str]] = []
        try:
            for number, name in enumerate(files, start=1):
                with telling(name):
                    _place(part, folder, name, placed, force=force, is_last=number == len(files))
        except BaseException as error:
            left = _withdraw(part, placed)
            if left:
                raise _not_undone(folder, error, left) from error
            raise


def _not_undone(folder: str, error: BaseException, left: str) -> NotUndoneError:
    if isinstance(error, OutputError):
        return NotUndoneError(error.path, f"{error.reason.removesuffix(NONE_WRITTEN)}; {left}", error.hint)
    cause = "was interrupted" if isinstance(error, KeyboardInterrupt) else f"cannot be written: {type(error).__name__}: {error}"
    return NotUndoneError(folder, f"{cause}; {left}", "put the old files back by hand")


def _place(part: Part, folder: str, name: str, placed: list[tuple[str, str]], *, force: bool, is_last: bool) -> None:
    """Give one file its name, and note how that is undone: path, and where the old file is kept (empty: there was none)."""
    target = os.path.join(folder, name)
    if not force:
        _link(part.new(name), target)
        placed.append((target, ""))
        return
    mode = _mode(target)
    if mode is None:
        os.replace(part.new(name), target)
        placed.append((target, ""))
        return
    if stat.S_ISREG(mode):
        os.chmod(part.new(name), stat.S_IMODE(mode))
    if not is_last:  # nothing can fail behind the last one
        _keep(target, part.old(name))
        placed.append((target, part.old(name)))
    os.replace(part.new(name), target)


def _mode(path: str) -> int | None:
    """Type and permissions of what has a name, a link itself included; None for nothing."""
    try:
        return os.lstat(path).st_mode
    except FileNotFoundError:
        return None


def _link(new: str, target: str) -> None:
    """Give a file a name that nobody else has taken."""
    try:
        os.link(new, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.lexists(target):
            raise FileExistsError(target) from None
        os.rename(new, target)


def _keep(target: str, old: str) -> None:
    """Keep what is about to be replaced, without a moment in which its name is free where the file system can do that."""
    try:
        os.link(target, old, follow_symlinks=os.link not in os.supports_follow_symlinks)
    except OSError:
        os.rename(target, old)


def _withdraw(part: Part, placed: list[tuple[str, str]]) -> str:
    """Take back what was put in place; returns what could not be taken back, in words."""
    left = []
    for target, old in reversed(placed):
        try:
            if not old:
                os.unlink(target)
            elif not (os.path.lexists(target) and os.path.samestat(os.lstat(old), os.lstat(target))):
                os.replace(old, target)
        except OSError:
            left.append(f"{target} could not be put back, it is kept as {old}" if old else f"{target} was written and stays")
            part.held_back.extend([old] if old else [])
    return "; ".join(left)
