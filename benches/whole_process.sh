#!/usr/bin/env bash
# Measures the whole of `farandole listen` from outside: processor time, wall time and peak memory, by length and format,
# and again when the recording is remembered. Needs ffmpeg and GNU time. Usage: benches/whole_process.sh [PROGRAM]
# FORMATS=mp3 measures that format alone.
set -euo pipefail
cd "$(dirname "$0")/.."
program=$(realpath "${1:-target/release/farandole}")
demo=$PWD/assets/demo
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
export FARANDOLE_CACHE_DIR=$work/cache

ffmpeg -v error -i "$demo/march-and-farandole.ogg" -i "$demo/cat-on-the-stairs.ogg" -i "$demo/goats-on-the-wall.ogg" \
  -i "$demo/evening-boat.ogg" -filter_complex '[0:a][1:a][2:a][3:a]concat=n=4:v=0:a=1' -c:a pcm_s16le all.wav

measured() { # LABEL, ARGUMENTS
  local label=$1
  shift
  /usr/bin/time -f "| $label | %U + %S | %e | %M |" "$program" listen "$@" 2>&1 >/dev/null
}

grep -m1 'model name' /proc/cpuinfo
echo "$(nproc) processors, load $(cut -d' ' -f1-3 /proc/loadavg), $(grep MemTotal /proc/meminfo)"
echo '| recording | CPU, s (user + system) | wall, s | peak, kB |'
echo '|---|---|---|---|'
for minutes in 3 10 60; do
  ffmpeg -v error -y -stream_loop -1 -i all.wav -t $((minutes * 60)) -c:a pcm_s16le long.wav
  for format in ${FORMATS:-mp3 flac ogg}; do
    case $format in
      mp3) options=(-b:a 192k) ;;
      flac) options=() ;;
      ogg) options=(-c:a libvorbis -q:a 5) ;;
    esac
    ffmpeg -v error -y -i long.wav "${options[@]}" "long.$format"
    measured "$minutes min $format" --no-cache --json "long.$format"
  done
done
ffmpeg -v error -y -stream_loop -1 -i all.wav -t 300 -c:a pcm_s16le five.wav
for format in mp3 flac wav; do
  [ $format = wav ] || ffmpeg -v error -y -i five.wav "five.$format"
  "$program" listen "five.$format" >/dev/null
  measured "5 min $format, remembered" "five.$format"
done
