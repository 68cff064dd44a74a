#!/bin/sh
# Fuzzes every reader of foreign bytes for a time, with clang, libFuzzer and the sanitizers, in build-fuzz/.
#   tests/fuzz/run.sh SECONDS [TARGET...]     targets: files, recording, ... (those of tests/fuzz/corpus)
# What it finds lies in build-fuzz/found/; the exit status is 1 then. Corpora grow in build-fuzz/corpus/, and
# build-fuzz/log/ has what libFuzzer said last of each target.
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

# The words of the seeds, and of the schemas for files: a fuzzer does not guess a key.
words_of() {
  find "$@" -type f ! -name '*.png' -exec cat {} + | tr -cs 'A-Za-z\044_.-' '\n' | LC_ALL=C sort -u |
    awk 'length > 1 && length < 25 { printf "\"%s\"\n", $0 }' | head -n 3000
}

# Seconds of processor time that the children have had, in what `times` said.
children_s() {
  awk 'NR == 2 { split($1, u, "[ms]"); split($2, s, "[ms]"); print u[1] * 60 + u[2] + s[1] * 60 + s[2] }' "$1"
}

# Memory that was freed is kept back for a while to find who uses it still; of large inputs that fills the limit.
export ASAN_OPTIONS="quarantine_size_mb=32${ASAN_OPTIONS:+:$ASAN_OPTIONS}"

# fuzz TARGET FOLDER...: what it said is in its log.
fuzz() {
  fuzzed=$1
  shift
  "build-fuzz/tests/fuzz/${fuzzed}_fuzz" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -max_len=65536 \
    -print_final_stats=1 -dict="build-fuzz/log/$fuzzed.words" -artifact_prefix="build-fuzz/found/$fuzzed-" \
    "build-fuzz/corpus/$fuzzed" "$@" >"build-fuzz/log/$fuzzed" 2>&1
}

[ $# -gt 0 ] || set -- $(ls tests/fuzz/corpus)
mkdir -p build-fuzz/found build-fuzz/log
status=0
for target in "$@"; do
  seeds=tests/fuzz/corpus/$target
  [ -d "$seeds" ] || { echo "there is no target $target" >&2; exit 2; }
  more=""
  [ "$target" != files ] || { seeds="$seeds fixtures scenarios"; more=fixtures/schemas; }
  [ "$target" != log ] || seeds="$seeds fixtures/logs"
  mkdir -p "build-fuzz/corpus/$target"
  # shellcheck disable=SC2086  # lists of folders
  words_of $seeds $more >"build-fuzz/log/$target.words"
  times >build-fuzz/log/times  # in a subshell it would be that one's
  before=$(children_s build-fuzz/log/times)
  outcome="nothing found"
  # shellcheck disable=SC2086
  fuzz "$target" $seeds || { outcome="FOUND, see build-fuzz/found/$target-* and build-fuzz/log/$target"; status=1; }
  times >build-fuzz/log/times
  after=$(children_s build-fuzz/log/times)
  runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "build-fuzz/log/$target")
  coverage=$(sed -n 's/.* cov: \([0-9]*\) .*/\1/p' "build-fuzz/log/$target" | tail -n 1)
  echo "$target: $(awk "BEGIN { print $after - $before }") s of processor time, ${runs:-?} runs," \
    "coverage ${coverage:-?}: $outcome"
done
exit $status
