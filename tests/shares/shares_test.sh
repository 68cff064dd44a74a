#!/bin/sh
# Shares by GNU parallel add up to the whole.   shares_test.sh SOURCE PROGRAM STUDY
set -eu
command -v parallel >/dev/null || { echo "GNU parallel is not installed: skipped"; exit 77; }
# shellcheck source=tests/shares/jobs.sh
. "$1/tests/shares/jobs.sh"
in_one_piece
# shellcheck disable=SC2086  # a list of files
seq $shares | parallel --will-cite "$program" run $scenarios --gauge "$gauge" --rig "$rig" --no-history \
  --shard "{}/$shares" --out "$work/part-{}" >"$work/log"
seq $shares | parallel --will-cite "$program" grade "$source/scenarios/regression.yaml" --gauge "$gauge" --threads 1 \
  --shard "{}/$shares" --json ">$work/grade-{}.json"
seq $shares | parallel --will-cite "$study" --seed 5 --pairs 30 --threads 1 --shard "{}/$shares" \
  --scratch "$work/scratch-{}" --share "$work/study-{}.json" >"$work/log"
together
one_missing
echo "a suite, a grade and a study in $shares shares each are what they are in one piece"
