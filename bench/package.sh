#!/bin/sh
# Makes the Debian packages, and says where they are and how large. Installs what is missing first.
#   sh bench/package.sh [FOLDER]    builds in FOLDER; without it in build-package/
# The same commit makes the same bytes, in any folder and at any time.
set -eu
cd "$(dirname "$0")/.."
. bench/packages.sh
folder=${1:-build-package}

# shellcheck disable=SC2086  # a list of words
install_missing $build_packages $camera_packages $package_packages

# What files say of their time is the commit's; without a repository the newest entry's of the changelog.
if [ -z "${SOURCE_DATE_EPOCH:-}" ]; then
  SOURCE_DATE_EPOCH=$(git log -1 --format=%ct 2>/dev/null) ||
    SOURCE_DATE_EPOCH=$(dpkg-parsechangelog -l bench/install/changelog -S Timestamp)
fi
export SOURCE_DATE_EPOCH
umask 022

# Debian's own flags, hardened; without debug information, and without the folder in what assertions say.
flags=$(DEB_BUILD_MAINT_OPTIONS="hardening=+all reproducible=+all" dpkg-buildflags --get CXXFLAGS | sed 's/-g //; s/-O2 //')
cppflags=$(dpkg-buildflags --get CPPFLAGS)
link=$(DEB_BUILD_MAINT_OPTIONS=hardening=+all dpkg-buildflags --get LDFLAGS)
configure "$folder" -DTACHPROOF_TESTS=OFF -DTACHPROOF_TOGETHER=ON -DCMAKE_INSTALL_PREFIX=/usr \
  -DCMAKE_CXX_FLAGS="$flags $cppflags" -DCMAKE_EXE_LINKER_FLAGS="$link"
ninja -C "$folder" --quiet >&2
rm -rf "$folder/packages" "$folder/_CPack_Packages"
(cd "$folder" && cpack >package.log 2>&1) || { cat "$folder/package.log" >&2; exit 1; }
for package in "$folder"/packages/*.deb; do
  printf '%s: %s bytes, %s kB installed\n' "$package" "$(stat -c %s "$package")" \
    "$(dpkg-deb -f "$package" Installed-Size)"
done
