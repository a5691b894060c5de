"""What a linter does not see: units in names, small rooms, documented names, clean text."""

import ast
import importlib
import inspect
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "fluxbench"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_MODULE = 300
LONGEST_FUNCTION = 80

UNITS = re.compile(
    r"(.+_)?(hz|db|seconds|turns|percent|octaves|ratio|share|fraction)"
    r"|.+_(hz|db|dbfs|dbu|dbv|vu|volts|us|ms|s|min|ips|um|mm|m|in|ft|arcmin|deg|rad|mmx|ppm)"
    r"|.+_per_\w+"
)

# Numbers without a unit whose name is a letter of a formula or a plain word: module and name.
# This list may only shrink: take out what is renamed, and lower the count below it.
WITHOUT_A_UNIT = {
    "deck/_stocks.py": {"h0", "m", "n", "p"},
    # Advice on azimuth is in arc-minutes, on all else in dB: its `unit` says which.
    "lineup/_view.py": {"deviation", "off", "set_band", "spread"},
    # A row of a verification is in dB or per cent: its `unit` says which.
    "lineup/_verified_rows.py": {"limit"},
    "measure/_spectrum.py": {"fill"},
    "signals/_voices.py": {"amplitudes"},
    "trade/_losses.py": {"surface"},
    "trade/_recording.py": {"h0", "m", "n", "p", "r1", "r2"},
}
WITHOUT_A_UNIT_AT_MOST = 18

Function = ast.FunctionDef | ast.AsyncFunctionDef


def has_unit(name: str) -> bool:
    """The last word is a unit, as in `rate_hz`, `turns`, `flux_nwb_per_m`, `level_db_each`."""
    return bool(UNITS.fullmatch(name.removesuffix("_each")))


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("frequency_hz", True),
        ("turns", True),
        ("slope_db_per_octave", True),
        ("level_dbfs_each", True),
        ("frequency", False),
        ("hz_frequency", False),
        ("m", False),
        ("level", False),
    ],
)
def test_what_counts_as_a_unit(name: str, unit: bool) -> None:
    assert has_unit(name) is unit


def is_number(annotation: ast.expr | None) -> bool:
    """Whether `float`, or trade's `Values` (a number or many), stands anywhere in it."""
    return annotation is not None and any(
        isinstance(node, ast.Name) and node.id in {"float", "Values"}
        for node in ast.walk(annotation)
    )


def public_numbers(tree: ast.AST) -> Iterator[str]:
    """Names of the parameters and fields that are numbers, of what has a public name."""
    for node in ast.walk(tree):
        if isinstance(node, Function) and (not node.name.startswith("_") or is_maker(node)):
            arguments = node.args
            for argument in [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]:
                if is_number(argument.annotation):
                    yield argument.arg
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for field in node.body:
                if (
                    isinstance(field, ast.AnnAssign)
                    and isinstance(field.target, ast.Name)
                    and not field.target.id.startswith("_")
                    and is_number(field.annotation)
                ):
                    yield field.target.id


def is_maker(function: Function) -> bool:
    return function.name == "__init__"


def test_public_numbers_are_found() -> None:
    tree = ast.parse(
        "def f(a: float, b: int, *, c: float | None = None): ...\n"
        "def _g(d: float): ...\n"
        "class C:\n    e: tuple[float, ...]\n    _f: float\n    def __init__(self, g: Values): ..."
    )
    assert sorted(public_numbers(tree)) == ["a", "c", "e", "g"]


def test_every_public_number_carries_its_unit() -> None:
    without: dict[str, set[str]] = {}
    for package in ("trade", "signals", "measure", "deck", "lineup", "links", "engine"):
        for path in sorted((PACKAGE / package).rglob("*.py")):
            names = public_numbers(ast.parse(path.read_text()))
            if missing := {name for name in names if not has_unit(name)}:
                without[path.relative_to(PACKAGE).as_posix()] = missing
    assert without == WITHOUT_A_UNIT
    assert sum(len(names) for names in WITHOUT_A_UNIT.values()) <= WITHOUT_A_UNIT_AT_MOST


def test_modules_are_small() -> None:
    long = {
        path.relative_to(PACKAGE).as_posix(): lines
        for path in MODULES
        if (lines := len(path.read_text().splitlines())) >= LONGEST_MODULE
    }
    assert long == {}


def lines_of_code(function: Function) -> int:
    """From `def` to the last line, the docstring apart: documentation is never too long."""
    lines = (function.end_lineno or 0) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        lines -= (first.end_lineno or 0) - first.lineno + 1
    return lines


def test_lines_of_code_are_counted() -> None:
    function = ast.parse('def f():\n    """One.\n\n    Two.\n    """\n    return 1').body[0]
    assert isinstance(function, Function)
    assert lines_of_code(function) == 2


def test_functions_are_small() -> None:
    long = {
        f"{path.relative_to(PACKAGE).as_posix()}:{node.name}": lines
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, Function) and (lines := lines_of_code(node)) >= LONGEST_FUNCTION
    }
    assert long == {}


def public_face(package: str) -> Iterator[tuple[str, object]]:
    """Every function and class of a package's `__all__`, and their public methods."""
    module = importlib.import_module(f"fluxbench.{package}")
    for name in module.__all__:
        face = getattr(module, name)
        if inspect.isclass(face) or inspect.isfunction(face):
            yield name, face
        if inspect.isclass(face):
            for method, value in vars(face).items():
                if inspect.isfunction(value) and not method.startswith("_"):
                    yield f"{name}.{method}", value


PACKAGES = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))


@pytest.mark.parametrize("package", PACKAGES)
def test_the_public_face_is_documented(package: str) -> None:
    """A method that a protocol asks for is documented there or needs no words."""
    faces = dict(public_face(package))
    asked_for = {
        name.rpartition(".")[2]
        for name in faces
        if getattr(faces.get(name.partition(".")[0]), "_is_protocol", False)
    }
    bare = [
        name
        for name, face in faces.items()
        if not ("." in name and name.rpartition(".")[2] in asked_for) and not is_documented(face)
    ]
    assert bare == []


def is_documented(face: object) -> bool:
    """Not by what a dataclass writes itself, which is its name and fields."""
    written = inspect.getdoc(face) or ""
    return bool(written) and not written.startswith(f"{getattr(face, '__name__', '')}(")


PURE = ("trade", "signals", "measure", "lineup")


def test_pure_packages_open_no_file() -> None:
    """The imports are held by import-linter; these need none."""
    found = [
        f"{path.relative_to(PACKAGE).as_posix()}:{node.lineno} {ast.unparse(node.func)}"
        for package in PURE
        for path in (PACKAGE / package).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and re.fullmatch(
            r"open|input|print|exec|eval|__import__|np\.(load|save|loadtxt|genfromtxt|fromfile)\w*",
            ast.unparse(node.func),
        )
    ]
    assert found == []


def committed_files() -> list[Path]:
    """What git holds or would take; without git, everything but what it would leave out."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    names = listed.stdout.split("\0") if listed.returncode == 0 else ["src", "tests", "docs"]
    paths = [ROOT / name for name in names if name]
    return [
        file
        for path in paths
        for file in (path.rglob("*") if path.is_dir() else [path])
        if file.is_file() and "__pycache__" not in file.parts
    ]


# In pieces, so that this file does not hold what it looks for.
UNWANTED = [
    b"/" + b"work/",
    b"/" + b"home/",
    b"/" + b"root/",
    b"python" + b"hosted",
    b"pypi" + b".org",
    b"npmjs" + b".",
    b"registry" + b".",
]


def test_no_file_holds_a_machine_path_or_a_registry_host() -> None:
    files = committed_files()
    assert Path(__file__) in files
    found = [
        f"{file.relative_to(ROOT)}: {needle.decode()}"
        for file in files
        for needle in UNWANTED
        if needle in file.read_bytes().lower()
    ]
    assert found == []
