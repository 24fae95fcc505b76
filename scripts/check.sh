#!/bin/sh
# Sets up and runs every check: format, lint, types, layers, page scripts, tests.
cd "$(dirname "$0")/.."
. scripts/common.sh

fill_venv requirements/test.txt
sh scripts/recordings.sh

# has_browser: an installed Chromium or Chrome, which the browser tests drive.
has_browser() {
    for name in chromium chromium-browser google-chrome google-chrome-stable; do
        command -v "$name" >/dev/null 2>&1 && return 0
    done
    [ -d "/Applications/Google Chrome.app" ] || [ -d "/Applications/Chromium.app" ]
}
has_browser || apt_install chromium || say \
    "No Chromium or Chrome is installed, so the tests of the page are skipped." \
    "On macOS, put Google Chrome or Chromium into Applications to run them."
command -v ffmpeg >/dev/null 2>&1 || apt_install ffmpeg || say \
    "ffmpeg is not installed, so the test of m4a files is skipped."

# What is there now: a test that does without it all the same fails (tests/needs.py).
HOOPWISE_HAS=""
if has_browser; then HOOPWISE_HAS="$HOOPWISE_HAS browser"; fi
if command -v ffmpeg >/dev/null 2>&1; then HOOPWISE_HAS="$HOOPWISE_HAS ffmpeg"; fi
if [ -d recordings/kit-a ]; then HOOPWISE_HAS="$HOOPWISE_HAS recordings"; fi
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
bin="$(pwd)/.venv/bin"
"$bin/ruff" format --check --quiet .
"$bin/ruff" check --quiet .
"$bin/mypy"
"$bin/lint-imports"
if [ -f package.json ]; then
    command -v npm >/dev/null 2>&1 || apt_install nodejs npm || stop \
        "The page's scripts are checked with npm: install Node.js 18 or newer."
    npm ci --silent --no-audit --no-fund
    npm run --silent check
    HOOPWISE_HAS="$HOOPWISE_HAS axe"
fi
export HOOPWISE_HAS
"$bin/python" -m pytest -q -n auto --dist worksteal "$@"
