"""The house plan, held by the syntax tree: who may import whom, what stays above the boundary, what
a room owes its readers."""

import ast
import re
import subprocess
import sys
import tokenize
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import winchsim

PACKAGE = Path(winchsim.__file__).parent

RANKS = {
    "frozen": -1,
    "errors": 0,
    "constants": 0,
    "roots": 0,
    "version": 0,
    "assumption": 0,
    "elementwise": 0,
    "data": 0,
    "quantity_text": 1,
    "physics": 2,
    "hybrid": 2,
    "strength": 3,
    "inputs": 3,
    "sampling": 3,
    "model": 4,
    "record": 4.5,
    "simulation": 5,
    "slow": 5,
    "assessment": 6,
    "studies": 7.5,
    "units": 8,
    "scenario": 9,
    "report": 10,
    "page": 10.5,
    "face": 10.7,
    "commands": 11,
    "__init__": 11,
    "cli": 12,
    "__main__": 13,
}
"""Rank of each top-level room. A file imports strictly lower ranks only, and the rooms of its own
package."""

BOUNDARY = RANKS["scenario"]
SEPARATE = ("physics", "studies")
"""Packages whose rooms do not import each other."""

BUILT_ON = {
    ("studies", "sizing"): ("sweep", "choose", "candidates"),
    ("studies", "candidates"): ("choose",),
    ("studies", "choose"): ("sweep",),
    ("studies", "why"): ("calibrate",),
}
"""But for these."""


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _name(path: Path) -> tuple[str, ...]:
    """Parts of a module's name below the package: ``("scenario", "read")``, ``("__init__",)`` for
    the package itself."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return parts[:-1] if len(parts) > 1 and parts[-1] == "__init__" else parts


def _imports(path: Path) -> Iterator[tuple[tuple[str, ...], int]]:
    """Full names that a file imports, each with its line; what it takes from a module counts as a
    part of the name."""
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            yield from ((tuple(alias.name.split(".")), node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: imports are absolute"
            base = tuple((node.module or "").split("."))
            yield from (((*base, alias.name), node.lineno) for alias in node.names)


def _id(path: Path) -> str:
    return ".".join(_name(path))


each_module = pytest.mark.parametrize("path", _modules(), ids=_id)


@each_module
def test_has_a_rank(path):
    assert _name(path)[0] in RANKS, "give this room a rank"


@each_module
def test_imports_only_lower_ranks_and_its_own_package(path):
    own = _name(path)
    for name, line in _imports(path):
        if name[0] != "winchsim":
            continue
        target = name[1] if len(name) > 1 and name[1] in RANKS else "__init__"
        if target == own[0] and own[0] not in ("__init__",):
            assert not _crosses_rooms(own, name), (
                f"line {line}: the rooms of {own[0]} do not import each other"
            )
            continue
        assert RANKS[target] < RANKS[own[0]], f"line {line}: {own[0]} may not import {target}"


def _crosses_rooms(own: tuple[str, ...], name: tuple[str, ...]) -> bool:
    """Whether a room of a package whose rooms stay apart takes something from another one."""
    is_room = own[0] in SEPARATE and len(own) > 1
    return is_room and len(name) > 2 and name[2] not in (own[1], *BUILT_ON.get(own[:2], ()))


@each_module
def test_libraries_stay_in_their_rooms(path):
    own = _name(path)
    for name, line in _imports(path):
        if name[0] == "pint":
            assert own == ("units",), f"line {line}: only units.py imports pint"
        if name[0] in ("matplotlib", "mpl_toolkits"):
            assert own == ("face",) or (own[0] == "report" and own[1].startswith("figures")), (
                f"line {line}: only the figures import matplotlib"
            )


@each_module
def test_no_surroundings_below_the_boundary(path):
    """No files, streams, clocks, environment or processes below the reader; nobody prints but
    through an Env."""
    calls = [
        n for n in ast.walk(_tree(path)) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
    ]
    for call in calls:
        assert call.func.id not in ("print", "input", "eval", "exec", "breakpoint"), (
            f"line {call.lineno}"
        )
    if RANKS[_name(path)[0]] >= BOUNDARY:
        return
    assert not [call.lineno for call in calls if call.func.id == "open"]
    outside = {
        "os",
        "sys",
        "io",
        "time",
        "datetime",
        "random",
        "pathlib",
        "subprocess",
        "tempfile",
        "socket",
        "csv",
        "tomllib",
    }
    for name, line in _imports(path):
        assert name[0] not in outside, f"line {line}: {name[0]} stays above the boundary"


def test_every_module_imports_without_a_warning():
    """A process of their own, for whoever runs the tests has imported them before; what they offer
    is there."""
    names = [
        ".".join(("winchsim", *(p for p in _name(path) if p != "__init__"))) for path in _modules()
    ]
    names = [name for name in names if name != "winchsim.__main__"]
    code = (
        "import importlib, warnings\n"
        "import scipy.integrate, scipy.optimize, pint\n"
        "warnings.simplefilter('error')\n"
        f"for name in {names!r}:\n"
        "    module = importlib.import_module(name)\n"
        "    missing = [n for n in getattr(module, '__all__', ()) if not hasattr(module, n)]\n"
        "    assert not missing, (name, missing)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_version_is_the_same_everywhere():
    project = PACKAGE.parent / "pyproject.toml"
    assert (
        tomllib.loads(project.read_text(encoding="utf-8"))["project"]["version"]
        == winchsim.__version__
    )


# --- sentences


SPOKEN = {
    "model/build.py": ("left between load and drum",),
    "model/links.py": ("motor gearbox", "rope at its"),
    "model/train.py": ("a solid core of",),
    "physics/heat.py": ("mass", "a share of", "magnets of", "time constants", "in still air"),
    "physics/motor/fitted.py": ("a mechanical time constant",),
    "physics/motor/output.py": ("for each of",),
    "strength/materials.py": ("cautious value",),
    "strength/printed.py": ("is not known",),
}
"""Where words are composed below the boundary: names of parts, sources of assumed values, and what
was expected of a bad value."""

SILENT = (
    "physics",
    "hybrid",
    "strength",
    "sampling",
    "model",
    "record",
    "simulation",
    "slow",
    "assessment",
    "studies",
)


def _composed(tree: ast.Module) -> Iterator[str]:
    """Texts of three words and more that are put together with values, but for those of errors and
    of `repr`."""
    apart: set[int] = set()
    for node in ast.walk(tree):
        is_error = isinstance(node, ast.Raise) or (
            isinstance(node, ast.Call)
            and re.search("Error|Fault|refuse_if", ast.unparse(node.func))
        )
        is_repr = isinstance(node, ast.FunctionDef) and node.name in ("__repr__", "__str__")
        if is_error or is_repr:
            apart |= set(map(id, ast.walk(node)))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr) and id(node) not in apart:
            parts = [part.value for part in node.values if isinstance(part, ast.Constant)]
            text = " ".join(map(str, parts))
            if len(re.findall(r"(?<![\w.])[A-Za-z]{2,}(?![\w.])", text)) >= 3:
                yield text


@pytest.mark.parametrize("path", [path for path in _modules() if _name(path)[0] in SILENT], ids=_id)
def test_sentences_are_made_above_the_values(path):
    known = SPOKEN.get(path.relative_to(PACKAGE).as_posix(), ())
    odd = [text for text in _composed(_tree(path)) if not any(part in text for part in known)]
    assert odd == [], "make it in report/"


def test_no_two_classes_have_one_name():
    owners: dict[str, list[str]] = {}
    for path in _modules():
        for node in _tree(path).body:
            if isinstance(node, ast.ClassDef):
                owners.setdefault(node.name, []).append(path.name)
    assert {name: paths for name, paths in owners.items() if len(paths) > 1} == {}


# --- form


NO_CODE = (
    tokenize.ENCODING,
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
)

ROW = (
    ast.Constant,
    ast.Name,
    ast.Attribute,
    ast.UnaryOp,
    ast.BinOp,
    ast.Tuple,
    ast.List,
    ast.Dict,
    ast.Call,
    ast.keyword,
    ast.unaryop,
    ast.operator,
    ast.expr_context,
)
"""What a row of a table is made of: literals, names, and records of them."""

LEAST_ROWS = 5


def _tokens(path: Path) -> list[tokenize.TokenInfo]:
    with path.open("rb") as file:
        return list(tokenize.tokenize(file.readline))


@each_module
def test_files_and_functions_are_short(path):
    """Without blank lines, comments and docstrings."""
    lines = set()
    for token in _tokens(path):
        if token.type not in NO_CODE:
            lines |= set(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            lines -= set(range(node.lineno, node.end_lineno + 1))
    assert len(lines) < 400
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert len(lines & set(range(node.lineno, node.end_lineno + 1))) < 50, node.name


def _is_table(value: ast.expr) -> bool:
    """Whether there is a tuple, list or dict in it with some rows, on several lines."""
    for node in ast.walk(value):
        rows = node.values if isinstance(node, ast.Dict) else getattr(node, "elts", ())
        plain = all(isinstance(part, ROW) for row in rows for part in ast.walk(row))
        if len(rows) >= LEAST_ROWS and plain and node.end_lineno > node.lineno:
            return True
    return False


@pytest.mark.parametrize(
    "path", sorted([*_modules(), *Path(__file__).parent.rglob("*.py")]), ids=lambda path: path.stem
)
def test_only_tables_are_kept_from_the_formatter(path):
    """Tables at the top of a module, or in a decorator there."""
    skipped = {t.end[0] for t in _tokens(path) if t.type == tokenize.COMMENT and "fmt:" in t.string}
    tables = set()
    for node in _tree(path).body:
        values = [*getattr(node, "decorator_list", ()), getattr(node, "value", None)]
        tables |= {value.end_lineno for value in values if value and _is_table(value)}
    assert skipped <= tables
