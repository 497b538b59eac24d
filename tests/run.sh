#!/usr/bin/env bash
# Sets up all the tests need, system libraries included, in .venv beside the project, and runs them.
# Further words go to pytest: bash tests/run.sh tests/model/layout/test_place.py -k wall
# `quick` before them leaves out the tests marked slow.
set -euo pipefail
cd "$(dirname "$0")/.."

# libGL for the geometry kernel; the others for the STEP reader the tests compare with; admesh to read STL independently,
# slic3r to slice it and to read 3MF as a printer's slicer does; poppler to draw and measure PDF; chromium to open
# the page.
packages=(libgl1 libglu1-mesa libxcursor1 libxft2 libxinerama1 libxrender1 libxi6 libgomp1 admesh slic3r poppler-utils chromium)
missing=()
for p in "${packages[@]}"; do
  dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q 'ok installed' || missing+=("$p")
done
if [ "${#missing[@]}" -gt 0 ]; then
  if [ "$(id -u)" != 0 ]; then
    echo "missing system packages; as root: apt-get install -y --no-install-recommends ${missing[*]}" >&2
    exit 1
  fi
  apt-get update -qq
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
fi

[ -x .venv/bin/python ] || python3 -m venv .venv
.venv/bin/pip install -q --disable-pip-version-check -c constraints.txt -e '.[test]'
# Reference tables for threads and screws, read as data; its own dependencies would bring a second geometry kernel.
.venv/bin/pip install -q --disable-pip-version-check --no-deps -c constraints.txt bd_warehouse
if [ "${1:-}" = quick ]; then
  shift
  set -- -m "not slow" "$@"
fi
# Two processes: one for each core of a small machine. Each goes through half of the files in order, which keeps tests of
# one file together for what they work out once; who is done first takes over half of what the other has left.
exec .venv/bin/python -m pytest -n 2 --dist worksteal "$@"
