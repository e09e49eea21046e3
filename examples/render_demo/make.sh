#!/usr/bin/env bash
# Makes assets/demo/*.ogg and tests/data/demo/*.truth.json anew from the note lists. Needs vorbis-tools and a sound
# font (see docs/demo.md). Arguments go to the renderer: examples/render_demo/make.sh --sound-font FILE
set -euo pipefail
cd "$(dirname "$0")/../.."

if ! command -v oggenc >/dev/null; then
  echo "make.sh: 'oggenc' is missing; install vorbis-tools" >&2
  exit 2
fi

list=$(cargo run --quiet --locked --example render_demo -- --out target/demo --truth tests/data/demo "$@")
mkdir -p assets/demo
serial=0
while IFS=$'\t' read -r name title artist summary; do
  # A fixed stream serial number: the same samples give the same file.
  serial=$((serial + 1))
  oggenc --quiet --quality 5 --serial "$serial" --title "$title" --artist "$artist" \
    --output "assets/demo/$name.ogg" "target/demo/$name.wav"
  echo "$name: $summary, $(stat -c %s "assets/demo/$name.ogg") bytes"
done <<<"$list"
