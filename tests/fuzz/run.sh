#!/bin/sh
# Fuzzes every reader of foreign bytes for a time, with clang, libFuzzer and the sanitizers, in build-fuzz/.
#   tests/fuzz/run.sh SECONDS [TARGET...]     targets: files, recording, ... (those of tests/fuzz/corpus)
# What it finds lies in build-fuzz/found/; the exit status is 1 then. Corpora grow in build-fuzz/corpus/.
set -eu
cd "$(dirname "$0")/../.."
[ $# -ge 1 ] && [ "$1" -gt 0 ] || { echo "tests/fuzz/run.sh SECONDS [TARGET...]" >&2; exit 2; }
seconds=$1
shift
. bench/packages.sh
# shellcheck disable=SC2086  # a list of words
install_missing $build_packages clang-14 libclang-rt-14-dev

configure build-fuzz -DCMAKE_C_COMPILER=clang-14 -DCMAKE_CXX_COMPILER=clang++-14 -DCMAKE_BUILD_TYPE=Debug \
  -DCMAKE_CXX_FLAGS_DEBUG="-O1 -g1" -DTACHPROOF_FUZZ=ON -DTACHPROOF_TESTS=OFF -DTACHPROOF_TOGETHER=ON
ninja -C build-fuzz --quiet fuzz_targets >&2

[ $# -gt 0 ] || set -- $(ls tests/fuzz/corpus)
mkdir -p build-fuzz/found
status=0
for target in "$@"; do
  seeds=tests/fuzz/corpus/$target
  [ -d "$seeds" ] || { echo "there is no target $target" >&2; exit 2; }
  [ "$target" != files ] || seeds="$seeds fixtures scenarios"
  mkdir -p "build-fuzz/corpus/$target"
  echo "$target, $seconds s"
  # shellcheck disable=SC2086  # a list of folders
  if "build-fuzz/tests/fuzz/${target}_fuzz" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -max_len=65536 \
    -print_final_stats=1 -verbosity=0 -artifact_prefix="build-fuzz/found/$target-" \
    "build-fuzz/corpus/$target" $seeds; then
    echo "$target: nothing found"
  else
    echo "$target: FOUND, see build-fuzz/found/$target-*"
    status=1
  fi
done
exit $status
