#!/bin/sh
# One share of a suite, a grade or a study, as a task of a Slurm array. In the command SHARE becomes I/N and NUMBER
# becomes I:
#
#   sbatch --array=1-8 bench/slurm_share.sh tachproof run A.yaml B.yaml --gauge G.yaml --rig R.yaml \
#     --shard SHARE --out runs/part-NUMBER
#
# To play one share again, say of how many it is one: SHARES=8 sbatch --array=3 ... What the command prints is in
# slurm's own output file; --output=grade-%a.json gives each share of a grade a file of its own.
#SBATCH --job-name=tachproof-share
set -eu
[ $# -gt 0 ] || { echo "slurm_share.sh COMMAND... with SHARE where I/N belongs" >&2; exit 2; }
number=${SLURM_ARRAY_TASK_ID:?this is a task of an array: sbatch --array=1-N bench/slurm_share.sh COMMAND...}
shares=${SHARES:-${SLURM_ARRAY_TASK_COUNT:?}}
if [ "$number" -lt 1 ] || [ "$number" -gt "$shares" ]; then
  echo "task $number of $shares shares: number them from 1, as in --array=1-$shares, or say SHARES=N" >&2
  exit 2
fi

# Each word once more at the end, changed; the first is dropped.
for word in "$@"; do
  case $word in
    *SHARE*) word="${word%%SHARE*}$number/$shares${word#*SHARE}" ;;
    *NUMBER*) word="${word%%NUMBER*}$number${word#*NUMBER}" ;;
  esac
  set -- "$@" "$word"
  shift
done
exec "$@"
