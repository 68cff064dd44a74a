#!/bin/sh
# Every header compiles by itself.
#   headers_stand_alone.sh SOURCE_FOLDER COMPILER
# A header that is the first line of its own source, or of its test, is proven by the build;
# the others are compiled here. The firmware has a compiler of its own, the
# camera's program needs OpenCV.
set -eu
cd "$1"
compiler=$2
status=0
headers=$(find core bench -name '*.h' ! -path "*/firmware/*" ! -path "bench/camera/*" | sort)
[ -n "$headers" ] || { echo "no headers were found"; exit 1; }
for header in $headers; do
  source=${header%.h}.cc
  if [ -f "$source" ] && grep -m1 '#include' "$source" | grep -qF "\"$header\""; then continue; fi
  test=tests/${header%%/*}/$(basename "$header" .h)_test.cc
  if [ -f "$test" ] && grep -m1 '#include' "$test" | grep -qF "\"$header\""; then continue; fi
  "$compiler" -std=c++20 -fsyntax-only -x c++ -w -I. -DTACHPROOF_VERSION="\"\"" "$header" || status=1
done
exit $status
