"""The house's own limits: how long a function or a file may be, what is documented, what must never be written."""

import ast
import re
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "loopwright"
FILES = sorted(SOURCE.rglob("*.py"))

# Kernels that are one formula sheet from top to bottom; cutting them would scatter the state over many signatures.
LONG_KERNELS = {"loop", "solve_from", "climb", "read_running"}


def functions() -> list[tuple[Path, ast.FunctionDef]]:
    return [
        (path, node)
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
    ]


def public(path: Path) -> list[ast.FunctionDef]:
    """Functions of a module and methods of its classes, those with a leading underscore left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    holders = [tree, *(n for n in tree.body if isinstance(n, ast.ClassDef) and not n.name.startswith("_"))]
    return [n for h in holders for n in h.body if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")]


def code_lines(node: ast.FunctionDef) -> int:
    """Lines that hold code, without docstring and blank lines."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    return len({n.lineno for part in body for n in ast.walk(part) if hasattr(n, "lineno")})


def test_functions_are_short() -> None:
    sizes = [code_lines(node) for _, node in functions()]
    assert statistics.median(sizes) <= 8
    assert statistics.quantiles(sizes, n=10)[-1] <= 30
    long = {node.name for _, node in functions() if code_lines(node) > 80}
    assert long <= LONG_KERNELS


def test_files_are_short() -> None:
    assert {p.name: n for p in FILES if (n := len(p.read_text(encoding="utf-8").splitlines())) > 600} == {}


def test_what_raises_says_so() -> None:
    """A public function whose own body raises has a `Raises` in its docstring."""
    silent = []
    for path in FILES:
        # the command line ends by raising its exit code, a migration by refusing
        if path.parent.name in ("cli", "versions") or path.name == "errors.py":
            continue
        for node in public(path):
            own = [n for n in ast.walk(node) if isinstance(n, ast.Raise) and n.exc is not None]
            if own and "Raises" not in (ast.get_docstring(node) or ""):
                silent.append(f"{path.relative_to(SOURCE)}:{node.name}")
    assert silent == []


def tracked() -> list[Path]:
    kinds = {".py", ".toml", ".md", ".json", ".cfg", ".lock", ".csv", ".yml", ""}
    skipped = {"out", "__pycache__", "build", "dist"}

    def ours(parts: tuple[str, ...]) -> bool:
        return not skipped & set(parts) and not any(part.startswith(".") and part != ".ci" for part in parts[:-1])

    return [
        p
        for p in ROOT.rglob("*")
        if p.is_file() and p.suffix in kinds and ours(p.relative_to(ROOT).parts) and p != Path(__file__)
    ]


@pytest.mark.parametrize(
    "pattern",
    [
        r"--(extra-)?index-url",
        r"url *= *\"https?://[^\"]*\.(whl|tar\.gz)",
        r"(^|[\s\"'(])/(home|tmp|root)/",
    ],
)
def test_nothing_names_a_host_or_a_machine(pattern: str) -> None:
    found = [
        str(p.relative_to(ROOT))
        for p in tracked()
        if re.search(pattern, p.read_text(encoding="utf-8", errors="ignore"), flags=re.MULTILINE)
    ]
    assert found == []
