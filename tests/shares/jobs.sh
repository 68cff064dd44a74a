# Sourced by the tests beside it: the jobs in one piece, and what shares of them must add up to.
# shellcheck shell=sh
source=$1
program=$2
study=$3
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
gauge=$source/fixtures/gauges/drumlin.yaml
rig=$source/fixtures/rigs/simulated.yaml
scenarios="$source/scenarios/acceptance.yaml $source/scenarios/regression.yaml $source/scenarios/response.yaml"
shares=3

fail() { echo "$*" >&2; exit 1; }

# same WHAT FILE FILE
same() { cmp -s "$2" "$3" || { diff "$2" "$3" | head -n 20 >&2; fail "$1: the shares together differ from the whole"; }; }

# What a suite's report says but for the folders that it lies in.
said() { grep -E '^(drumlin|PASS|FAIL|UNDECIDED)' "$1"; }

# The study says how long it took.
counted() { sed 's/ [0-9]* s of processor\.//; s/, shard [0-9/]*//' "$1"; }

in_one_piece() {
  # shellcheck disable=SC2086  # a list of files
  "$program" run $scenarios --gauge "$gauge" --rig "$rig" --no-history --out "$work/whole" >"$work/whole.txt"
  "$program" grade "$source/scenarios/regression.yaml" --gauge "$gauge" --json >"$work/grade.json"
  "$study" --seed 5 --pairs 30 --scratch "$work/scratch" >"$work/study.txt"
}

together() {
  "$program" report "$work"/part-* >"$work/parts.txt"
  said "$work/whole.txt" >"$work/whole.said"
  said "$work/parts.txt" >"$work/parts.said"
  same "suite" "$work/whole.said" "$work/parts.said"
  "$program" grade --merge "$work"/grade-[0-9].json >"$work/merged.json"
  same "grade" "$work/grade.json" "$work/merged.json"
  "$study" --merge "$work"/study-[0-9].json >"$work/merged.txt"
  counted "$work/study.txt" >"$work/study.counted"
  counted "$work/merged.txt" >"$work/merged.counted"
  same "study" "$work/study.counted" "$work/merged.counted"
}

# Without one of its shares nothing passes.
one_missing() {
  status=0
  "$program" report "$work/part-1" "$work/part-3" >"$work/missing.txt" || status=$?
  [ $status -eq 3 ] || fail "a suite without its second share ends with $status, not 3"
  if "$program" grade --merge "$work/grade-1.json" "$work/grade-3.json" >"$work/missing.txt" 2>&1; then
    fail "a grade without its second share was merged"
  fi
  if "$study" --merge "$work/study-1.json" "$work/study-3.json" >"$work/missing.txt" 2>&1; then
    fail "a study without its second share was merged"
  fi
}
