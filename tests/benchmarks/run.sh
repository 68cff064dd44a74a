#!/bin/sh
# Builds and runs every measure beside its peers, prints the table of aims and
# writes it, with the machine, to tests/benchmarks/RESULTS.md.
#
#   tests/benchmarks/run.sh [BUILD_FOLDER] [ROUNDS]
#
# Needs Debian's libbenchmark-dev. Peers that are not installed are named and left out:
#   apt-get install python3-numpy python3-pandas sigrok-cli
set -eu
source=$(cd "$(dirname "$0")/../.." && pwd)
build=${1:-$source/build-benchmarks} rounds=${2:-5}
cmake -S "$source" -B "$build" -G Ninja -DTACHPROOF_BENCHMARKS=ON >/dev/null
ninja -C "$build" benchmarks tachproof core_tests
exec /usr/bin/python3 "$source/tests/benchmarks/measure.py" "$source" "$build" "$rounds"
