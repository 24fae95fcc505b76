#!/bin/sh
# Sets up and does the main job: reads real hits of real drums, then evens a simulated one.
cd "$(dirname "$0")/.."
. scripts/common.sh

fill_venv requirements/run.txt
sh scripts/recordings.sh

read_drums() {
    printf '\nReading %s:\n\n' "$1" >&2
    shift
    .venv/bin/hoopwise read "$@"
}
if [ -d recordings/kit-a ]; then
    mkdir -p out
    read_drums "a tom of kit A, struck softly and hard, and the snare of kit B" \
        recordings/kit-a/tom-1.wav recordings/kit-a/tom-5.wav recordings/kit-b/snare-3.wav
    read_drums "every tom of both kits, 5 strengths at the centre and near the hoop" \
        recordings/kit-a/*tom*.wav recordings/kit-b/*tom*.wav --plot out/toms.svg >out/toms.txt
    sed -n '/^Notes of all hits/,$p' out/toms.txt
    say "All their modes are in out/toms.txt, drawn in out/toms.svg."
elif [ -d recordings/cc0 ]; then
    read_drums "two toms and a snare" recordings/cc0/tom_lo_hard.flac \
        recordings/cc0/tom_mid_soft.flac recordings/cc0/snare_soft.flac
else
    say "A simulated tom stands in for them."
    mkdir -p out
    .venv/bin/hoopwise simulate tom-12x8 --hit --other-head ringing -o out/tom.wav
    read_drums "the simulated tom" out/tom.wav
fi
printf '\nEvening a simulated drum:\n\n' >&2
.venv/bin/hoopwise demo
say "Read your own recordings with: .venv/bin/hoopwise read FILE..."
