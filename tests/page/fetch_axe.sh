#!/bin/sh
# Fetches axe-core into the build folder for the tests of the bench page: it is no part of the program, and Debian
# has no package of it. Without npm or a network nothing happens but a word, and the tests that want it are skipped.
#   fetch_axe.sh BUILD_FOLDER
set -eu
version=4.14.1
sha512=1477dafa598d8d065f273d6af302aa203c02e83131707b7fa648cd41bd3d6b734f8c22a0dab86ee6a6f64b8afbe804b214d36db85a2826965edfb3a0b9d546b5
folder=$1/axe
file=$folder/axe.min.js
[ ! -s "$file" ] || exit 0
command -v npm >/dev/null || { echo "no npm: the pages are not checked by axe-core" >&2; exit 0; }
mkdir -p "$folder"
cd "$folder"
timeout 60 npm pack --silent "axe-core@$version" >/dev/null 2>&1 ||
  { echo "axe-core could not be fetched: the pages are not checked by it" >&2; exit 0; }
echo "$sha512  axe-core-$version.tgz" | sha512sum --check --status ||
  { echo "axe-core-$version.tgz is not the file that is known: not used" >&2; rm -f "axe-core-$version.tgz"; exit 1; }
tar -xzf "axe-core-$version.tgz" package/axe.min.js package/LICENSE
mv package/axe.min.js axe.min.js
