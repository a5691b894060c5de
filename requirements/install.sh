# Sourced by ./run and ./test: a virtual environment in .venv that holds the pinned packages.
# Expects $root, the checkout. A stamp keeps what was installed; while it agrees, nothing is done
# and no network is needed.

say() { echo "fluxbench: $*" >&2; }
fail() { say "$*"; exit 1; }

find_python() {
    for candidate in ${FLUXBENCH_PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$candidate"
            return
        fi
    done
    return 1
}

make_venv() {
    python=$(find_python) ||
        fail "needs Python 3.11 or newer; install it, or name it as in FLUXBENCH_PYTHON=python3.11 $0"
    "$python" -c 'import venv, ensurepip' 2>/dev/null ||
        fail "$python has no venv module; install it (on Debian: apt install python3-venv) and start $0 again"
    "$python" -m venv --clear "$root/.venv" ||
        fail "no virtual environment could be made in $root/.venv; is the disk full or read-only?"
}

# install NAME PINS...: have .venv hold this package and these pins.
install() {
    venv_python=$root/.venv/bin/python
    stamp=$root/.venv/installed-$1
    shift
    wanted=$(echo "$root" && cat "$root/pyproject.toml" "$@" | cksum)
    if [ -x "$venv_python" ] && [ "$wanted" = "$(cat "$stamp" 2>/dev/null)" ]; then
        return
    fi
    "$venv_python" -m pip --version >/dev/null 2>&1 || make_venv
    say "installing the pinned packages into .venv (only when they have changed) ..."
    for file; do
        set -- "$@" -r "$file"
        shift
    done
    log=$root/.venv/install.log
    "$venv_python" -m pip install "$@" >"$log" 2>&1 &&
        "$venv_python" -m pip install --no-deps --no-build-isolation --editable "$root" >>"$log" 2>&1 ||
        fail "the packages could not be installed; is there a network? The reason stands at the end of $log"
    echo "$wanted" >"$stamp"
}

# build_screens: have what a browser shows built from ui/, if it has changed.
build_screens() {
    [ -f "$root/ui/build.py" ] || return 0
    "$root/.venv/bin/python" "$root/ui/build.py" || say "going on without new screens"
}
