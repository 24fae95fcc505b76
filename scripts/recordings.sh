#!/bin/sh
# Fetches real drum hits into recordings/ (ignored by git): two acoustic kits from a Debian
# package under CC-BY-SA-3.0, or ten CC0 sounds from another. Never fails for want of them.
cd "$(dirname "$0")/.."
. scripts/common.sh

# fetch PACKAGE: unpacks it below recordings/packages without installing it.
fetch() {
    mkdir -p recordings/packages
    for again in no yes; do
        if (cd recordings/packages && apt-get -qq -o APT::Sandbox::User=root download "$1") \
            >/dev/null 2>&1; then
            dpkg-deb -x recordings/packages/"$1"_*.deb recordings/packages
            rm -f recordings/packages/"$1"_*.deb
            return 0
        fi
        [ $again = no ] && apt_lists || return 1
    done
}

ls recordings/*/*.wav recordings/*/*.flac >/dev/null 2>&1 && exit 0
if command -v apt-get >/dev/null 2>&1 && command -v dpkg-deb >/dev/null 2>&1; then
    say "fetching real drum hits into recordings/"
    fetch avldrums.lv2-soundfont || fetch sonic-pi-samples || true
fi
.venv/bin/python -m benchmarks.recordings recordings/packages recordings || say \
    "No real recordings could be fetched: they come as a Debian package, through apt. hoopwise" \
    "reads your own just as well: .venv/bin/hoopwise read FILE"
