# Sourced by deploy/try and deploy/test at the top of the checkout: a Python, its virtual
# environment, the locked packages, programs of Debian. What is there already is left as it is.

export LC_ALL=C.UTF-8 PYTHONUTF8=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore
unset PYTHONDONTWRITEBYTECODE # with it each process would compile all that it imports anew

say() {
    printf '%s\n' "$*"
}

stop() {
    say "$*" >&2
    exit 1
}

quietly() { # COMMAND...: show its output only where it fails
    mkdir -p .cache
    log=$(mktemp .cache/setup-XXXXXX)
    "$@" >"$log" 2>&1 || {
        cat "$log" >&2
        rm "$log"
        stop "This failed: $*"
    }
    rm "$log"
}

at_once() { # COMMAND LINE...: run them at the same time; where one fails stop, once all have ended
    printf '%s\0' "$@" |
        xargs -0 -n 1 -P "$#" sh -euc '. deploy/setup.sh; eval "$1"' sh ||
        stop "Not all of it went well: see above."
}

whole() { # NAME COMMAND...: show its output in one piece, as others run at the same time
    name=$1 begun=$(date +%s) end=""
    shift
    output=$("$@" 2>&1) || end=", FAILED"
    printf '\n-- %s (%s s%s)\n%s\n' "$name" "$(($(date +%s) - begun))" "$end" "$output"
    [ -z "$end" ]
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

need_programs() { # PROGRAM=PACKAGE...: of programs, or files, that are missing the packages, at one go
    missing=""
    for pair in "$@"; do
        # shellcheck disable=SC2086 (a pattern, where each version has a folder)
        command -v ${pair%=*} >/dev/null || ls ${pair%=*} >/dev/null 2>&1 || missing="$missing ${pair#*=}"
    done
    [ -n "$missing" ] || return 0
    # programs alone: the tests start their own services
    no_cluster=/etc/postgresql-common/createcluster.d/no-cluster-for-tests.conf
    if [ -w /etc ]; then
        mkdir -p "${no_cluster%/*}"
        say "create_main_cluster = false" >"$no_cluster"
    fi
    # shellcheck disable=SC2086 (a word for each package)
    install_debian $missing
    rm -f "$no_cluster"
    case "$missing" in
        *caddy*) [ ! -d /run/systemd/system ] || systemctl disable --now caddy ;;
    esac
}
