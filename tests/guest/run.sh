#!/bin/sh
# Boots Debian's kernel in QEMU and runs guest_tests, live_unit and tachproof in it: GUEST.md.
#     tests/guest/run.sh [BUILD_FOLDER] [GTEST_FILTER]
# Needs qemu-system-x86, make and gcc-12; downloads about 230 MB once, into BUILD_FOLDER/guest.
# Exit status: 0 all is as it should be, 1 not, 77 something is missing here.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
build=$(cd "${1:-$here/../../build}" && pwd)
filter=${2:-*}
cache=$build/guest
root=$cache/root
missing() { echo "guest: skipped: $*" >&2; exit 77; }
command -v qemu-system-x86_64 >/dev/null || missing "no qemu-system-x86_64 (package qemu-system-x86)"
command -v gcc-12 >/dev/null && command -v make >/dev/null || missing "no gcc-12 or make, for gpio-sim"

# ---- the kernel, and gpio-sim, which Debian does not build -------------------

image=$(apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/.*Depends: \(linux-image-[^ ]*\)$/\1/p' | head -1)
[ -n "$image" ] || missing "apt knows no linux-image-amd64 (apt-get update?)"
kernel=${image#linux-image-}
series=$(echo "$kernel" | cut -d. -f1,2)

download() {
  [ -f "$cache/$kernel.done" ] && return
  rm -rf "$cache"
  mkdir -p "$cache/debs" "$root"
  echo "guest: downloading $image and its source" >&2
  (cd "$cache/debs" && apt-get download -q "$image" "linux-headers-$kernel" \
    "linux-headers-${kernel%-*}-common" "linux-kbuild-$series" "linux-source-$series" busybox-static) >&2 ||
    missing "the packages cannot be downloaded"
  for deb in "$cache"/debs/*.deb; do dpkg -x "$deb" "$root"; done
  rm -r "$cache/debs"
  source=$root/usr/src/linux-source-$series.tar.xz
  tar -xf "$source" -C "$cache" --strip-components=1 --wildcards '*/drivers/gpio/gpio-sim.c' \
    '*/drivers/gpio/gpiolib.h' '*/kernel/irq/irq_sim.c'
  rm "$source"
}

modules() {
  [ -f "$cache/$kernel.done" ] && return
  mkdir -p "$cache/sim"
  cp "$cache/drivers/gpio/gpio-sim.c" "$cache/drivers/gpio/gpiolib.h" "$cache/kernel/irq/irq_sim.c" "$cache/sim/"
  # irq_to_desc is not for modules; generic_handle_irq does the same for a simple interrupt.
  sed -i -e 's/handle_simple_irq(irq_to_desc(\(.*\)));/generic_handle_irq(\1);/' \
    -e 's|#include <linux/slab.h>|&\n#include <linux/module.h>|' \
    -e '$a MODULE_LICENSE("GPL");' "$cache/sim/irq_sim.c"
  echo 'obj-m := gpio-sim.o irq_sim.o' > "$cache/sim/Kbuild"
  headers=$root/usr/src/linux-headers-$kernel
  sed -i "s|^include /usr/src/|include $root/usr/src/|" "$headers/Makefile"
  make -s -C "$headers" M="$cache/sim" modules >"$cache/modules.log" 2>&1 ||
    { cat "$cache/modules.log" >&2; exit 1; }
  touch "$cache/$kernel.done"
}

# ---- what the guest runs from --------------------------------------------------

# add MODULE: with what it needs, in the order in which they load.
add() {
  case " $order " in *" $1 "*) return ;; esac
  file=$(find "$root/lib/modules" "$cache/sim" -name "$(echo "$1" | tr '_-' '??').ko" | head -1)
  [ -n "$file" ] || { echo "guest: no module $1" >&2; exit 1; }
  for needed in $(tr '\0' '\n' <"$file" | sed -n 's/^depends=//p' | tr ',' ' '); do add "$needed"; done
  file=$(find "$root/lib/modules" "$cache/sim" -name "$(echo "$1" | tr '_-' '??').ko" | head -1)
  cp "$file" "$ram/modules/$1.ko"
  order="$order $1"
}

pack() {
  ram=$cache/ram order=""
  rm -rf "$ram"
  mkdir -p "$ram/bin" "$ram/dev" "$ram/proc" "$ram/sys" "$ram/config" "$ram/tmp" "$ram/modules" "$ram/files"
  for module in configfs irq_sim gpio-sim vivid; do add "$module"; done
  echo "$order" > "$ram/modules/order"
  cp "$root/bin/busybox" "$ram/bin/"
  cp "$here/init.sh" "$ram/init"
  cp -r "$here/files/." "$ram/files/"
  cp "$here/../../fixtures/gauges/drumlin.yaml" "$here/../../scenarios/regression.yaml" "$ram/files/"
  for program in bench/tachproof bench/tachproof-camera tests/guest/guest_tests tests/guest/live_unit; do
    strip -o "$ram/bin/$(basename "$program")" "$build/$program"
    ldd "$build/$program" | grep -o '/[^ ]*' | while read -r library; do
      mkdir -p "$ram$(dirname "$library")"
      [ -f "$ram$library" ] || cp -L "$library" "$ram$library"
    done
  done
  (cd "$ram" && find . | "$root/bin/busybox" cpio -o -H newc 2>/dev/null) > "$cache/ram.cpio"
}

download
modules
ninja -C "$build" --quiet tachproof tachproof-camera guest_tests live_unit
pack

# -icount: the guest's time passes by its instructions, so what it measures does
# not depend on how busy this machine is.
qemu-system-x86_64 -accel tcg -icount shift=0,sleep=off -m 2048 -nodefaults -display none -no-reboot \
  -kernel "$root/boot/vmlinuz-$kernel" -initrd "$cache/ram.cpio" \
  -append "console=ttyS0 quiet panic=-1 guest_filter=$filter" -serial stdio -monitor none </dev/null |
  tr -d '\r' | tee "$cache/console.log"
grep -q '^guest: all is well' "$cache/console.log"
