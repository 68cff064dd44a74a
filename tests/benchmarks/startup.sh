#!/bin/sh
# How long `tachproof --help` takes, against an empty C++ program.
#   tests/benchmarks/startup.sh [BUILD_FOLDER] [RUNS]
# Interleaved rounds, so that a busy machine slows both; the best round counts.
set -eu
build=${1:-build} runs=${2:-300}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
printf '#include <iostream>\nint main() {}\n' >"$scratch/empty.cc"
c++ -O2 "$scratch/empty.cc" -o "$scratch/empty"

# Microseconds for one start of "$@".
time_of() {
  begin=$(date +%s%N)
  i=0
  while [ $i -lt "$runs" ]; do
    "$@" >/dev/null
    i=$((i + 1))
  done
  echo $((($(date +%s%N) - begin) / runs / 1000))
}

best_empty=1000000000 best_ours=1000000000
for _ in 1 2 3 4 5; do
  empty=$(time_of "$scratch/empty")
  ours=$(time_of "$build/bench/tachproof" --help)
  [ "$empty" -ge "$best_empty" ] || best_empty=$empty
  [ "$ours" -ge "$best_ours" ] || best_ours=$ours
done
echo "empty C++ program ${best_empty} us, tachproof --help ${best_ours} us, ratio $((best_ours * 100 / best_empty)) %"
