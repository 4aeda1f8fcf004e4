"""The JSON documents that every command can print: one object, SI numbers, no NaN."""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from winchsim.errors import InputError, OutputError, WinchsimError
from winchsim.version import __version__

FORMAT = 1  # 1: meta, verdict, findings, cautions, rows, error
"""Number of the format of the documents; its history stands beside it."""


def document(
    *,
    digest: str | None = None,
    random_seed: int | None = None,
    verdict: str | None = None,
    findings: Sequence[Any] = (),
    cautions: Sequence[Any] = (),
    rows: Sequence[Any] = (),
    error: Any = None,
    meta_more: Mapping[str, Any] | None = None,
    **more: Any,
) -> str:
    """Text of one JSON document.

    Parameters
    ----------
    digest : str or None
        SHA-256 of the scenario.
    random_seed : int or None
        Seed of whatever was drawn at random.
    verdict, findings, cautions, rows, error
        The parts that every document has; `error` is left out when None.
    meta_more : Mapping of str to object, optional
        Further entries of ``meta``: tolerances, versions of libraries.
    **more
        Further parts of one command (``summary``, ``events``, ...), after the common ones.

    Returns
    -------
    str
        Indented, keys in the order given, with a line end. NaN and infinities are null.
    """
    meta = {
        "format": FORMAT,
        "version": __version__,
        "scenario_hash": digest,
        "random_seed": random_seed,
    }
    meta |= dict(meta_more or {})
    parts: dict[str, Any] = {
        "meta": meta,
        "verdict": verdict,
        "findings": findings,
        "cautions": cautions,
        "rows": rows,
    }
    parts.update(more)
    if error is not None:
        parts["error"] = error
    return json.dumps(_plain(parts), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def error_document(error: WinchsimError, digest: str | None = None) -> str:
    """JSON document of an error: its code, message, and every fault with its place."""
    return document(digest=digest, error=error_facts(error))


def error_facts(error: WinchsimError) -> dict[str, Any]:
    """An error as plain data; `file`, `line` and `key` are those of its first fault."""
    facts: dict[str, Any] = {
        "code": error.code,
        "message": str(error),
        "file": None,
        "line": None,
        "key": None,
    }
    if isinstance(error, OutputError):
        facts |= {"file": error.path, "hint": error.hint}
    if isinstance(error, InputError):
        faults = [
            {
                "code": fault.code,
                "file": fault.file or None,
                "line": fault.line,
                "key": fault.key or None,
                "message": fault.message,
                "got": fault.got or None,
                "expected": fault.expected or None,
                "hint": fault.hint or None,
            }
            for fault in error.faults
        ]
        facts |= {name: faults[0][name] for name in ("code", "file", "line", "key")}
        facts["faults"] = faults
    return facts


def _plain(value: Any) -> Any:
    """Value made of what JSON knows; arrays become lists, what is not finite becomes null."""
    if isinstance(value, (str, bool, int)) or value is None:
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, (Sequence, set, frozenset)):
        return [
            _plain(item)
            for item in (sorted(value) if isinstance(value, (set, frozenset)) else value)
        ]
    raise TypeError(f"{type(value).__name__} does not go into JSON")
