"""Would the tests notice? Changes one operator, comparison, sign or number of the package at a
time, in a copy, and runs the tests that reach its line until the first one fails.

    python tests/mutants.py map       # which test reaches which line, and how long each takes
    python tests/mutants.py run --count 200 --seed 1 --out survivors.md

Left out, since they change nothing that a test should hold: messages of exceptions, annotations,
default indices, tolerances (below 1e-4) and bounds of loops (whole numbers above 30).
"""

import argparse
import ast
import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest
import scipy.optimize  # noqa: F401 - once, before the processes of the mutants
from coverage.numbits import numbits_to_nums
from hypothesis import Phase, settings

ROOT = Path(__file__).resolve().parent.parent
KEPT = ROOT / ".pytest_cache" / "mutants"
PACKAGES = ("physics", "strength", "model", "slow", "assessment", "studies")
MOST_SECONDS = 40.0
"""Of the tests that one mutant has to survive, the quickest first. [s]"""

OTHER = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.And: ast.Or, ast.Or: ast.And,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all",
         "all": "any", "cos": "sin", "sin": "cos", "abs": "float"}  # fmt: skip


class Sites(ast.NodeVisitor):
    """Nodes of a module that can be changed, in the order of its text."""

    def __init__(self, tree: ast.Module) -> None:
        self.nodes: list[ast.AST] = []
        self.visit(tree)

    def generic_visit(self, node: ast.AST) -> None:
        """Take a node where it can be changed, and look below it."""
        if isinstance(node, ast.Raise | ast.JoinedStr | ast.Subscript | ast.arguments | ast.Import):
            return
        if mutated(node, try_only=True):
            self.nodes.append(node)
        for name, value in ast.iter_fields(node):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST) and name not in ("annotation", "returns"):
                    self.visit(child)


def mutated(node: ast.AST, *, try_only: bool = False) -> str:
    """Change a node, or only see whether it can be; what was done, empty where it cannot be."""
    if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in OTHER:
        place, value = "op", OTHER[type(node.op)]()
    elif isinstance(node, ast.Compare) and type(node.ops[0]) in OTHER:
        place, value = "ops", [OTHER[type(node.ops[0])](), *node.ops[1:]]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        place, value = "op", ast.UAdd()
    elif isinstance(node, ast.Attribute | ast.Name):
        place = "attr" if isinstance(node, ast.Attribute) else "id"
        value = NAMES.get(getattr(node, place))
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        number, whole = node.value, isinstance(node.value, int)
        counted = (whole and abs(number) > 30) or (not whole and 0 < abs(number) < 1e-4)
        place, value = "value", None if counted else number + 1 if whole else 1.5 * number + 0.1
    else:
        return ""
    if value is None:
        return ""
    before = ast.unparse(node)
    if not try_only:
        setattr(node, place, value)
    return f"{before} -> {ast.unparse(node)}" if not try_only else before


def chosen(count: int, seed: int) -> list[tuple[Path, int]]:
    """Files and numbers of the sites to change, drawn from all sites of the packages."""
    files = [path for name in PACKAGES for path in sorted((ROOT / "winchsim" / name).rglob("*.py"))]
    sites = [
        (path, k)
        for path in files
        for k in range(len(Sites(ast.parse(path.read_text(encoding="utf-8"))).nodes))
    ]
    print(f"{len(sites)} sites")
    return random.Random(seed).sample(sites, count)


def make_map() -> None:
    """Run all tests but those in a browser, and keep which lines each one reaches."""
    KEPT.mkdir(parents=True, exist_ok=True)
    settings = KEPT / "coveragerc"
    packages = ",".join(f"winchsim/{name}/*" for name in PACKAGES)
    settings.write_text(f"[run]\ninclude = {packages}\ndata_file = {KEPT / 'lines'}\n")
    times = KEPT / "times.xml"
    call = ["-m", "pytest", "-n", "auto", "-m", "not browser", "--cov", "--cov-context=test"]
    call += [f"--cov-config={settings}", "--cov-report=", f"--junitxml={times}"]
    subprocess.run([sys.executable, *call], cwd=ROOT, check=False)


def reaching(path: Path, line: int, last: int) -> list[str]:
    """Tests that reach one of some lines of a file, the quickest first: of lines that run at import
    those that reach the file, of a file of tests whose fixtures reach them all."""
    with contextlib.closing(sqlite3.connect(KEPT / "lines")) as data:
        rows = data.execute(
            "SELECT context.context, numbits FROM line_bits JOIN context ON context.id = context_id"
            " JOIN file ON file.id = file_id WHERE file.path LIKE ?",
            (f"%{path.relative_to(ROOT)}",),
        ).fetchall()
    wanted = {*range(line, last + 1)}
    found = {n for n, bits in rows if n and not wanted.isdisjoint(numbits_to_nums(bits))}
    found = found or {name for name, _ in rows if name}
    seconds: dict[str, float] = {}
    for case in ElementTree.parse(KEPT / "times.xml").iter("testcase"):
        name = f"{case.get('classname').replace('.', '/')}.py::{case.get('name')}"
        seconds[name] = float(case.get("time"))
    shared = {name.partition("::")[0] for name in found if name.endswith("|setup")}
    names = {name.partition("|")[0] for name in found if name.partition("::")[0] not in shared}
    return sorted(names, key=lambda name: seconds.get(name, 1.0)) + sorted(shared)


class Patience:
    """Ends a process in which a test takes too long, as failed, or all of them, as passed."""

    def __init__(self) -> None:
        signal.signal(signal.SIGPROF, lambda *_: os._exit(1))

    def pytest_runtest_setup(self, item) -> None:
        """Give each test as much processor time as all may take together."""
        if time.process_time() > MOST_SECONDS:
            os._exit(0)
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)


def outcome(copy: Path, path: Path, text: str, tests: list[str]) -> int:
    """How the tests end with another text of a file, in a process of its own: 0 where all pass."""
    own = os.fork()
    if own == 0:
        with contextlib.suppress(BaseException):
            os.chdir(copy)
            sys.path.insert(0, str(copy))
            (copy / path.relative_to(ROOT)).write_text(text, encoding="utf-8")
            options = ["-x", "-q", "-m", "not browser", "-p", "no:cacheprovider", "-p", "no:xdist"]
            options += ["-o", "addopts=--import-mode=importlib", f"--rootdir={copy}"]
            options += ["--assert=plain"]
            quick = [Phase.explicit, Phase.generate]  # no smaller example is looked for
            settings.register_profile("mutants", phases=quick, database=None)
            settings.load_profile("mutants")
            with open(os.devnull, "w") as sink, contextlib.redirect_stdout(sink):
                code = pytest.main([*options, *tests], plugins=[Patience()])
            os._exit(0 if code == pytest.ExitCode.NO_TESTS_COLLECTED else code)
        os._exit(pytest.ExitCode.INTERNAL_ERROR)
    return os.waitstatus_to_exitcode(os.waitpid(own, 0)[1])


def dies(copy: Path, path: Path, mutant: str, tests: list[str]) -> bool:
    """Whether a test fails with another text of a file; those of its own package come first."""
    own = f"tests/{path.relative_to(ROOT).parts[1]}/"
    near = [name for name in tests if name.startswith(own)]
    for batch in filter(None, (near, [name for name in tests if not name.startswith(own)])):
        code = outcome(copy, path, mutant, batch)
        text = path.read_text(encoding="utf-8")
        if code > 1:  # the file cannot even be imported, unless the tests never run
            assert outcome(copy, path, text, batch) == 0, batch
        (copy / path.relative_to(ROOT)).write_text(text, encoding="utf-8")
        if code:
            return True
    return False


def run(count: int, seed: int, out: Path) -> None:
    """Try so many mutants, and write what survived."""
    sys.dont_write_bytecode = True
    lived, died = [], 0
    with tempfile.TemporaryDirectory() as folder:
        leave = shutil.ignore_patterns(".*", "*.egg-info", "build")
        shutil.copytree(ROOT, folder, ignore=leave, dirs_exist_ok=True)
        for path, k in chosen(count, seed):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            node = Sites(tree).nodes[k]
            tests = reaching(path, node.lineno, node.end_lineno)
            row = f"{path.relative_to(ROOT)}:{node.lineno}: {mutated(node)} ({len(tests)} tests)"
            if dies(Path(folder), path, ast.unparse(tree), tests):
                died += 1
            else:
                lived.append(row)
                print(row, flush=True)
            rows = "".join(f"- {row}\n" for row in lived)
            out.write_text(
                f"{died} of {died + len(lived)} mutants die. Survivors:\n\n{rows}", encoding="utf-8"
            )


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("what", choices=["map", "run"])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=KEPT / "survivors.md")
    given = parser.parse_args()
    make_map() if given.what == "map" else run(given.count, given.seed, given.out)


if __name__ == "__main__":
    main()
