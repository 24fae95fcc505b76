#!/bin/sh
# Sets up and measures accuracy and speed: sh scripts/bench.sh [NAME...].
cd "$(dirname "$0")/.."
. scripts/common.sh

fill_venv requirements/test.txt
sh scripts/recordings.sh
command -v aubiopitch >/dev/null 2>&1 || apt_install aubio-tools || true
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
exec .venv/bin/python -m benchmarks "$@"
