#!/bin/busybox sh
# The guest's first and only program: see run.sh.
/bin/busybox --install -s /bin
export PATH=/bin HOME=/tmp TACHPROOF_HISTORY=
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
mount -t tmpfs none /tmp
ip link set lo up
for module in $(cat /modules/order); do
  case $module in
    # Each with a camera, a screen and a metadata node.
    vivid) insmod /modules/vivid.ko n_devs=3 node_types=0x20101,0x20101,0x20101 ;;
    *) insmod "/modules/$module.ko" ;;
  esac || echo "guest: $module does not load"
done
mount -t configfs none /config
echo "guest: Linux $(uname -r), $(cat /proc/uptime | cut -d' ' -f1) s after its start"

wrong=""
filter=$(sed -n 's/.*guest_filter=\([^ ]*\).*/\1/p' /proc/cmdline)
cd /tmp
guest_tests --gtest_brief=1 --gtest_filter="$filter" || wrong="$wrong guest_tests"

# Whole runs with the GPIO watcher, of the unit that UNIT.yaml says.
lines=left-white,left-blue,mid-blue,mid-magenta,right-white,right-magenta,top-magenta
begin() {
  rm -f words address
  mkfifo words
  live_unit /files/drumlin.yaml "/files/$1.yaml" $lines <words >address &
  exec 3>words
  while [ ! -s address ]; do sleep 0.1; done
  sed "s/ADDRESS/$(cat address)/" /files/rig.yaml >rig.yaml
}
# play NAME STATUS: plays, and compares its exit status.
play() {
  status=0
  tachproof run /files/regression.yaml --gauge /files/drumlin.yaml --rig rig.yaml --out "$1" >said 2>&1 || status=$?
  exec 3>&-
  wait
  tail -12 said
  echo "guest: run of the $1 unit: exit status $status, expected $2"
  [ "$status" = "$2" ] || wrong="$wrong run-$1"
}
begin healthy
tachproof ports
play healthy 0
begin faulty
play faulty 1
begin healthy
(sleep 5; echo unplug >&3) &
play unplugged 3

[ -z "$wrong" ] && echo "guest: all is well" || echo "guest: wrong:$wrong"
poweroff -f
