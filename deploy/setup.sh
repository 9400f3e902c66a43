# Sourced by deploy/try and deploy/test at the top of the checkout: a Python, its virtual
# environment, the locked packages, PostgreSQL, Chromium. What is there already is left as it is.

export LC_ALL=C.UTF-8 PYTHONUTF8=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore

say() {
    printf '%s\n' "$*"
}

stop() {
    say "$*" >&2
    exit 1
}

quietly() { # COMMAND...: show its output only where it fails
    mkdir -p .cache
    "$@" >.cache/setup.log 2>&1 || {
        cat .cache/setup.log >&2
        stop "This failed: $*"
    }
}

install_debian() { # PACKAGE...: as root on Debian; otherwise say the command
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
        stop "Missing: $*. On Debian, as root:  apt-get update && apt-get install -y $*"
    fi
    say "Installing $* ..."
    quietly apt-get update
    quietly env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "$@"
}

find_python() {
    for python in python3 python3.14 python3.13 python3.12 python3.11; do
        "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && return
    done
    stop "Missing: Python 3.11 or newer. On Debian 12 or newer, as root:" \
        "apt-get update && apt-get install -y python3 python3-venv"
}

make_venv() { # FOLDER
    "$1/bin/python" -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && return
    find_python
    # Debian keeps what venv needs in a package of its own.
    "$python" -c 'import ensurepip' 2>/dev/null ||
        install_debian "$("$python" -c 'import sys; print("python3.%d-venv" % sys.version_info[1])')"
    say "Making $1 with $("$python" --version) ..."
    quietly "$python" -m venv --clear "$1"
}

install_locked() { # FOLDER LOCK [PROJECT...]: install a lock file of deploy/, and the project as pip
    # names it, into a virtual environment, unless these very ones are installed
    folder=$1
    lock=deploy/$2
    stamp=$folder/installed-$2
    wanted="$(pwd) $(cat "$lock" pyproject.toml | sha256sum)"
    [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ] && return
    say "Installing the packages of $lock (a minute or so) ..."
    rm -f "$stamp"
    shift 2
    quietly "$folder/bin/python" -m pip install --require-hashes -r "$lock"
    [ $# -eq 0 ] || quietly "$folder/bin/python" -m pip install --no-deps --no-build-isolation "$@"
    say "$wanted" >"$stamp"
}

need_postgresql() { # its programs only: the tests start their own
    .venv/bin/python -c 'from tests.pg import find_programs; find_programs()' 2>/dev/null && return
    no_cluster=/etc/postgresql-common/createcluster.d/no-cluster-for-tests.conf
    if [ -w /etc ]; then
        mkdir -p "${no_cluster%/*}"
        say "create_main_cluster = false" >"$no_cluster"
    fi
    install_debian postgresql
    rm -f "$no_cluster"
}

need_chromium() { # the browser of the tests; CHROMIUM names another
    [ -n "${CHROMIUM-}" ] || command -v chromium >/dev/null || install_debian chromium
}

need_caddy() { # its program only: the tests start their own
    command -v caddy >/dev/null && return
    install_debian caddy
    [ ! -d /run/systemd/system ] || systemctl disable --now caddy
}

need_programs() { # PROGRAM=PACKAGE...: where a program is missing, its package
    missing=""
    for pair in "$@"; do
        command -v "${pair%=*}" >/dev/null || missing="$missing ${pair#*=}"
    done
    # shellcheck disable=SC2086 (a word for each package)
    [ -z "$missing" ] || install_debian $missing
}
