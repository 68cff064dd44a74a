#!/bin/sh
# The Debian packages, as an administrator meets them: built twice, compared, looked at, installed in a new system, used, purged.
# Needs root, the network (Debian's packages) and about 3 GB. Never run by ctest.
#   sh tests/install/packages.sh [SCRATCH_FOLDER [STEP...]]    steps: build lint root; without any, all
set -eu
cd "$(dirname "$0")/../.."
. bench/packages.sh
scratch=${1:-$PWD/build-packages-test}
[ $# -eq 0 ] || shift
steps=${*:-build lint root}
root=$scratch/root
mkdir -p "$scratch"
step() { case " $steps " in *" $1 "*) say "--- $1"; return 0 ;; *) return 1 ;; esac; }
fail() { say "FAILED: $*"; exit 1; }

# Twice the same commit, in two folders and at two times: the same bytes. The second has a compiler cache of its own, so
# that nothing of the first gets into it.
if step build; then
  [ -z "$(git status --porcelain --untracked-files=no)" ] || fail "there are changes that are in no commit"
  rm -rf "$scratch/elsewhere"
  git clone -q . "$scratch/elsewhere"
  sh bench/package.sh || fail "the packages were not built"
  (cd "$scratch/elsewhere" && CCACHE_DIR=$scratch/cache sh bench/package.sh) || fail "the packages were not built again"
  for package in build-package/packages/*.deb; do
    again=$scratch/elsewhere/$package
    if ! cmp "$package" "$again"; then
      for side in "$package" "$again"; do
        rm -rf "$scratch/differ"
        dpkg-deb -R "$side" "$scratch/differ"
        (cd "$scratch/differ" && find . -type f -exec sha256sum {} + | sort -k2) >"$side.list"
      done
      diff "$package.list" "$again.list" || true
      fail "$package is not the same twice"
    fi
    sha256sum "$package"
    # No folder of a build in any file.
    rm -rf "$scratch/unpacked"
    dpkg-deb -x "$package" "$scratch/unpacked"
    if grep -rlaF -e "$PWD" -e "$scratch" "$scratch/unpacked"; then fail "these files name the folder of the build"; fi
  done
fi
packages=$(ls build-package/packages/*.deb)

if step lint; then
  install_missing lintian
  # shellcheck disable=SC2086  # file names without blanks
  lintian --allow-root --info --fail-on error --display-info $packages || fail "lintian found an error"
fi

# What files there are, but for the records of dpkg and apt themselves.
files_of() {
  (cd "$root" && find . -xdev \( -path ./proc -o -path ./sys -o -path ./dev -o -path ./tmp -o -path ./var/lib/dpkg -o \
    -path ./var/lib/apt -o -path ./var/cache -o -path ./var/log \) -prune -o -print) | sort
}
# In the new system, with a /proc that goes away with the command.
# shellcheck disable=SC2016  # the inner shell expands them
in_root() { exec unshare -m sh -c 'mount -t proc proc "$0/proc" && exec chroot "$@"' "$root" "$@"; }
inside() { (in_root "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C.UTF-8 HOME=/root "$@"); }
as_nobody() { (in_root --userspec=65534:65534 "$root" env -i PATH=/usr/bin:/bin HOME=/tmp/nobody "$@"); }

if step root; then
  install_missing mmdebstrap curl
  if [ ! -d "$root" ]; then
    mmdebstrap --quiet --variant=minbase bookworm "$root" http://deb.debian.org/debian || fail "no new system"
  fi
  cp /etc/resolv.conf "$root/etc/resolv.conf"
  rm -rf "$root/packages"
  mkdir "$root/packages"
  # shellcheck disable=SC2086  # file names without blanks
  cp $packages "$root/packages"
  inside apt-get -qq update
  # The libraries that the packages need come first, so that what they bring themselves can be told apart.
  needed=$(for package in $packages; do dpkg-deb -f "$package" Depends; done | tr ',' '\n' |
    sed 's/(.*//; s/|.*//; s/ //g' | grep -v '^tachproof' | sort -u)
  # shellcheck disable=SC2086  # a list of words
  inside env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $needed >"$scratch/apt.log" 2>&1 ||
    { cat "$scratch/apt.log"; fail "what the packages need cannot be installed"; }
  files_of >"$scratch/before"

  # tachproof alone: no camera, and what to do about it.
  inside sh -c 'dpkg -i /packages/tachproof_*.deb' || fail "tachproof cannot be installed"
  inside tachproof --version || fail "--version"
  inside sh -c 'mkdir /tmp/none; cd /tmp; tachproof teach none --gauge /usr/share/tachproof/fixtures/gauges/drumlin.yaml' \
    >"$scratch/said" 2>&1 && fail "teach without a camera"
  grep -q 'install the package tachproof-camera' "$scratch/said" || fail "without a camera: $(cat "$scratch/said")"
  inside sh -c 'dpkg -i /packages/tachproof-camera_*.deb' || fail "tachproof-camera cannot be installed"
  inside sh -c 'cd /tmp; tachproof teach none --gauge /usr/share/tachproof/fixtures/gauges/drumlin.yaml' \
    >"$scratch/said" 2>&1 && fail "teach without a clip"
  ! grep -q 'has no camera' "$scratch/said" || fail "the installed camera is not found: $(cat "$scratch/said")"
  say "The camera's program says: $(cat "$scratch/said")"
  inside ldd /usr/bin/tachproof /usr/libexec/tachproof/tachproof-camera >"$scratch/ldd"
  ! grep 'not found' "$scratch/ldd" || fail "a library is missing"

  # The demo's scenario, by what is installed, as a user without rights.
  data=/usr/share/tachproof
  as_nobody sh -c "
    mkdir -p /tmp/nobody && cd /tmp/nobody && tachproof run $data/scenarios/acceptance.yaml \
      --gauge $data/fixtures/gauges/drumlin.yaml --rig $data/fixtures/rigs/simulated.yaml --out run | tail -n 3 &&
      tachproof report run --verify | tail -n 3" || fail "the demo's scenario"
  [ -s "$root/tmp/nobody/run/report.html" ] || fail "no report"

  # The bench page on loopback: who has the key gets the page that ships, who has not gets none.
  (in_root --userspec=65534:65534 "$root" env -i PATH=/usr/bin:/bin HOME=/tmp/nobody \
    tachproof serve --no-browser) >"$scratch/served" 2>&1 &
  server=$!
  for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
    grep -q '^Open ' "$scratch/served" && break
    sleep 1
  done
  address=$(sed -n 's/^Open //p' "$scratch/served")
  [ -n "$address" ] || fail "serve said: $(cat "$scratch/served")"
  page=$(curl -sS -L -c "$scratch/cookies" -b "$scratch/cookies" -o "$scratch/page.html" -w '%{http_code}' "$address")
  keyless=$(curl -sS -o /dev/null -w '%{http_code}' "${address%%\?*}")
  kill -TERM $server
  status=0
  wait $server || status=$?
  say "The bench page: $page with the key, $keyless without; ended with exit status $status"
  [ "$page" = 200 ] || fail "the bench page"
  grep -q 'Drumlin' "$scratch/page.html" || fail "the bench page shows no job that ships"
  [ "$keyless" = 403 ] || fail "the bench page without its key"
  [ $status -eq 0 ] || fail "the bench page did not end well"
  rm -rf "$root/tmp/nobody" "$root/tmp/none"

  # Gone, with nothing left.
  inside dpkg --purge tachproof-camera tachproof || fail "they cannot be purged"
  files_of >"$scratch/after"
  diff "$scratch/before" "$scratch/after" || fail "files were left"
  if inside dpkg-query -W 'tachproof*' 2>/dev/null; then fail "dpkg still knows them"; fi
  say "Nothing is left."
fi
say "All went well: $steps"
