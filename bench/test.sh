#!/bin/sh
# Builds and tests. Installs what is missing first.
#   --format    the sources are as clang-format leaves them
#   --werror    warnings are errors
#   --sanitize  again under AddressSanitizer and UBSan, in build-sanitize/
set -eu
cd "$(dirname "$0")/.."
. bench/packages.sh

# Properties draw the same cases each time, so that a change is refused for what it did. Other draws:
# RC_PARAMS=seed=N, or a test program called by itself.
export RC_PARAMS="${RC_PARAMS:-seed=1789}"

format=no werror="" sanitize=no
for option in "$@"; do
  case $option in
    --format) format=yes ;;
    --werror) werror=-DTACHPROOF_WERROR=ON ;;
    --sanitize) sanitize=yes ;;
    *) say "bench/test.sh [--format] [--werror] [--sanitize]"; exit 2 ;;
  esac
done

packages="$build_packages $test_packages"
[ $format = no ] || packages="$packages clang-format-14"
# shellcheck disable=SC2086  # a list of words
install_missing $packages
# shellcheck disable=SC2086  # a list of words
install_missing $page_packages || say "Without a browser: the tests of the bench page in one are skipped."

if [ $format = yes ]; then
  git ls-files '*.cc' '*.h' | xargs clang-format-14 --dry-run --Werror
fi

# build_and_test FOLDER OPTION...
build_and_test() {
  folder=$1
  shift
  configure "$folder" -DTACHPROOF_TOGETHER=ON "$@"
  # shellcheck disable=SC2086  # empty or one word
  cmake -DTACHPROOF_TESTS=ON $werror "$@" "$folder" >/dev/null
  ninja -C "$folder" --quiet >&2
  sh tests/page/fetch_axe.sh "$folder"
  ctest --test-dir "$folder" --output-on-failure --progress -j "$(nproc)"
}

if [ $sanitize = yes ]; then
  build_and_test build-sanitize -DTACHPROOF_SANITIZE=ON -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG=-Og
fi
build_and_test build
