#!/bin/sh
# Sets up and does the main job: reads real hits of real drums.
cd "$(dirname "$0")/.."
. scripts/common.sh

fill_venv requirements/run.txt
sh scripts/recordings.sh
