#!/bin/sh
# Installs what is missing, builds, and proves a simulated gauge.
set -eu
cd "$(dirname "$0")/.."
. bench/packages.sh

# shellcheck disable=SC2086  # a list of words
install_missing $build_packages
configure build -DTACHPROOF_TOGETHER=ON -DTACHPROOF_TESTS=OFF
ninja -C build --quiet tachproof >&2

out="runs/demo-$(date +%Y%m%d-%H%M%S)-$$"
status=0
build/bench/tachproof run scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml \
  --rig fixtures/rigs/simulated.yaml --no-history --out "$out" || status=$?
if [ -f "$out/report.html" ]; then
  printf '\nOpen the report with:  xdg-open %s/%s/report.html\n' "$PWD" "$out"
fi
exit $status
