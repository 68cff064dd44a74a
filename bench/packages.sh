# Sourced by the scripts beside it: Debian packages, installed only when missing.

# shellcheck shell=sh disable=SC2034  # the lists are for the scripts that source this
build_packages="g++ cmake ninja-build ccache libboost1.81-dev libyaml-cpp-dev libfmt-dev nlohmann-json3-dev
  libcli11-dev libssl-dev libserialport-dev libsqlite3-dev libpq-dev"
# Without these there is no tachproof-camera, and all else is as it was.
camera_packages="libopencv-imgcodecs-dev libopencv-imgproc-dev libopencv-core-dev libjpeg62-turbo-dev
  libavformat-dev libavcodec-dev libavutil-dev libswscale-dev"
test_packages="$camera_packages
  libopencv-videoio-dev libgtest-dev libgmock-dev librapidcheck-dev gcc-avr avr-libc libsimavr-dev libelf-dev postgresql
  parallel jq python3-jsonschema python3-pytest python3-yaml"
# For bench/package.sh, beside those of the camera: the board's firmware is in the package.
package_packages="dpkg-dev file gcc-avr avr-libc"
# A browser and a reverse proxy for the tests of the bench page. Without them they say so and are skipped.
page_packages="chromium chromium-driver nginx-light curl"

say() { printf '%s\n' "$*" >&2; }

# install_missing PACKAGE...: asks dpkg first, so that a second call does nothing.
install_missing() {
  missing=""
  for package in "$@"; do
    state=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null) || state=""
    [ "$state" = installed ] || missing="$missing $package"
  done
  [ -n "$missing" ] || return 0
  say "Installing$missing"
  as_root=""
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || { say "Neither root nor sudo: please install$missing"; return 1; }
    as_root=sudo
  fi
  $as_root apt-get update -qq >&2
  # shellcheck disable=SC2086  # a list of words
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >&2
}

# configure FOLDER OPTION...: CMake runs only when the folder is new.
configure() {
  folder=$1
  shift
  [ -f "$folder/build.ninja" ] && return 0
  launcher=""
  command -v ccache >/dev/null && launcher="-DCMAKE_CXX_COMPILER_LAUNCHER=ccache"
  # shellcheck disable=SC2086  # empty or one word
  cmake -S . -B "$folder" -G Ninja $launcher "$@" >&2
}
