# Shared by the other scripts: finds Python, fills .venv, fetches what apt can give.
# POSIX sh; sourced from the repository's root.
set -eu

say() { printf '%s\n' "$*" >&2; }
stop() { say "$*"; exit 1; }

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"
    elif command -v sudo >/dev/null 2>&1; then sudo "$@"
    else return 1; fi
}

# apt_lists: true once apt knows the packages; updates its lists at most once a run.
apt_lists() {
    command -v apt-get >/dev/null 2>&1 || return 1
    [ -z "${HOOPWISE_APT_READY:-}" ] || return 0
    say "updating apt's package lists"
    as_root apt-get -q -o DPkg::Lock::Timeout=300 update >/dev/null 2>&1 || return 1
    HOOPWISE_APT_READY=1
}

# apt_install PACKAGE...: true when they are installed afterwards.
apt_install() {
    apt_lists || return 1
    say "installing with apt: $*"
    as_root env DEBIAN_FRONTEND=noninteractive DEBCONF_NOWARNINGS=yes apt-get -qq -y -o DPkg::Lock::Timeout=300 \
        -o Dpkg::Use-Pty=0 install --no-install-recommends "$@" >/dev/null
}

# find_python: prints an interpreter of 3.11 or newer that can make environments.
find_python() {
    for candidate in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' \
            >/dev/null 2>&1; then
            printf '%s\n' "$candidate"
            return 0
        fi
    done
    return 1
}

need_python() {
    find_python || { apt_install python3 python3-venv >&2 && find_python; } || stop \
        "hoopwise needs Python 3.11 or newer with its venv module. Install it (Debian 12 or" \
        "newer: apt install python3 python3-venv; macOS: the installer from python.org, or a" \
        "package manager), then run this command again."
}

# fill_venv FILE: .venv with exactly what FILE pins, and hoopwise itself, editable.
fill_venv() {
    stamp=".venv/filled-$(basename "$1" .txt)"
    wanted="$(cat "$1" pyproject.toml | cksum) $(pwd)"
    if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ]; then return 0; fi
    python="$(need_python)"
    .venv/bin/python -c '' >/dev/null 2>&1 || { rm -rf .venv; "$python" -m venv .venv; }
    say "installing what $1 pins into .venv"
    quiet_pip install --no-deps --only-binary :all: --require-hashes -r "$1"
    quiet_pip install --no-deps --no-build-isolation -e .
    rm -f .venv/filled-*
    printf '%s\n' "$wanted" >"$stamp"
}

# A machine's own pip settings may name folders that are not there; only errors matter here.
quiet_pip() {
    PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore PIP_NO_INPUT=1 \
        .venv/bin/python -m pip -qq "$@"
}
