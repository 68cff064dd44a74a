#!/bin/sh
# Shares as a Slurm array add up to the whole. Starts a controller and a node on this machine, for this test alone.
#   slurm_test.sh SOURCE PROGRAM STUDY
set -eu
for needed in slurmctld slurmd sbatch; do
  command -v $needed >/dev/null || { echo "$needed is not installed: skipped"; exit 77; }
done
[ "$(id -u)" -eq 0 ] || { echo "slurmd wants root's rights: skipped"; exit 77; }
# shellcheck source=tests/shares/jobs.sh
. "$1/tests/shares/jobs.sh"

SLURM_CONF=$work/slurm.conf
export SLURM_CONF
host=$(hostname -s)
mkdir "$work/state" "$work/spool"
cat >"$SLURM_CONF" <<END
ClusterName=shares
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=16817
SlurmdPort=16818
SlurmUser=root
AuthType=auth/none
CredType=cred/none
ProctrackType=proctrack/pgid
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
MpiDefault=none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
ReturnToService=2
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$host Default=YES State=UP
END

stop() {
  for daemon in slurmd slurmctld; do
    [ ! -f "$work/$daemon.pid" ] || kill "$(cat "$work/$daemon.pid")" 2>/dev/null || true
  done
  rm -rf "$work"
}
trap stop EXIT
slurmctld >"$work/log" 2>&1 && slurmd >>"$work/log" 2>&1 || { cat "$work/log"; echo "Slurm does not start here: skipped"; exit 77; }
tries=0
until [ "$(sinfo --noheader --format=%T 2>/dev/null)" = idle ]; do
  tries=$((tries + 1))
  [ $tries -lt 60 ] || { cat "$work"/slurm*.log; echo "Slurm's node is not ready after 30 s: skipped"; exit 77; }
  sleep 0.5
done

in_one_piece
array="sbatch --quiet --wait --array=1-$shares"
share=$source/bench/slurm_share.sh
# shellcheck disable=SC2086  # lists of words and files
$array --output="$work/run-%a.log" "$share" "$program" run $scenarios --gauge "$gauge" --rig "$rig" --no-history \
  --shard SHARE --out "$work/part-NUMBER"
$array --output="$work/grade-%a.json" "$share" "$program" grade "$source/scenarios/regression.yaml" --gauge "$gauge" \
  --threads 1 --json --shard SHARE
$array --output="$work/study-%a.log" "$share" "$study" --seed 5 --pairs 30 --threads 1 --shard SHARE \
  --scratch "$work/scratch-NUMBER" --share "$work/study-NUMBER.json"
together
one_missing
echo "a suite, a grade and a study in $shares shares each are what they are in one piece"
