#!/bin/sh
# core has no I/O, threads, clock or globals, and depends on nothing of bench.
#   core_is_pure.sh SOURCE_FOLDER CORE_ARCHIVE
# What its sources include, and what its object code asks of the system.
set -eu
cd "$1"
archive=$2
status=0
complain() {
  echo "core is not pure: $1"
  echo "$2" | sed 's/^/  /'
  status=1
}

sources=$(find core -name '*.h' -o -name '*.cc')
[ -n "$sources" ] || { echo "core has no sources"; exit 1; }
allowed='algorithm|array|bit|charconv|cmath|compare|complex|cstddef|cstdint|deque|functional|initializer_list|iterator|limits|map'
allowed="$allowed|memory|numbers|numeric|optional|queue|set|span|stdexcept|string|string_view|tuple|type_traits|utility"
allowed="$allowed|variant|vector|boost/math/[a-z_/]*\.hpp"
foreign=$(grep -nE '^ *# *include *<' $sources | grep -vE "<($allowed)>" || true)
[ -z "$foreign" ] || complain "it includes" "$foreign"
upward=$(grep -nE '^ *# *include *"' $sources | grep -vE '"core/[a-z_]*/[a-z_]*\.h"' || true)
[ -z "$upward" ] || complain "it includes" "$upward"

# fwrite and the like, however they are reached.
system='f?(open|read|write|close|puts?|printf|scanf|seek|flush)(64)?|puts|printf|socket|ioctl|getenv|clock|clock_gettime'
system="$system|gettimeofday|time|nanosleep|usleep|rand|srand|pthread_.*|std::(cout|cerr|cin|clog)|std::random_device::.*"
system="$system|std::(this_thread|thread|mutex|chrono|filesystem)::.*|std::basic_.?fstream.*"
asked=$(nm -uC "$archive" | sed -n 's/^ *[Uw] //p' | sort -u | grep -xE "($system)(@.*)?" || true)
[ -z "$asked" ] || complain "its code calls" "$asked"

# Variables that outlive a call; guards and read-only tables are no variables.
globals=$(objdump -tC "$archive" | grep -E '[[:space:]]\.(bss|data|tbss|tdata)([.][^[:space:]]*)?[[:space:]]' |
  grep -v '\.data\.rel\.ro' | sed -nE 's/.*[[:space:]][0-9a-f]+[[:space:]]+(.*tachproof::.*)/\1/p' |
  grep -vE '^(guard variable|typeinfo|vtable)' || true)
[ -z "$globals" ] || complain "it keeps variables" "$globals"
exit $status
