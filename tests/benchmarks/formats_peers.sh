#!/bin/sh
# What other programs need for the files of formats_bench: pandas for the CSV,
# sigrok-cli and vcd2fst for the VCD. Run the benchmarks first; they leave the
# files in $TMPDIR (or /tmp). Programs that are not installed are left out.
#
#   Debian: apt-get install python3-pandas sigrok-cli gtkwave
set -eu
folder=${TMPDIR:-/tmp}
csv=$folder/tachproof_bench.csv
vcd=$folder/tachproof_bench.vcd
for file in "$csv" "$vcd"; do
  [ -f "$file" ] || { echo "no $file; run the benchmarks first" >&2; exit 2; }
done

/usr/bin/python3 - "$csv" <<'PYTHON' || echo "pandas: not measured"
import sys, time
import pandas
best = float("inf")
for _ in range(3):
    begin = time.process_time()
    rows = len(pandas.read_csv(sys.argv[1]))
    best = min(best, time.process_time() - begin)
print(f"pandas {pandas.__version__} read_csv: {best / rows * 1e9:.0f} ns per row (CPU)")
PYTHON

megabytes=$(( $(wc -c < "$vcd") / 1000000 ))
measure() { # name, command...
  name=$1
  shift
  command -v "$1" > /dev/null || { echo "$name: not installed"; return 0; }
  # user + system seconds of the children, from the shell's own clock
  seconds=$( { LC_ALL=C bash -c 'TIMEFORMAT="%U %S"; time "$@" > /dev/null 2>&1' bash "$@"; } 2>&1 | awk '{ print $1 + $2 }')
  awk -v n="$name" -v s="$seconds" -v m="$megabytes" 'BEGIN { printf "%s: %.0f MB/s (CPU)\n", n, m / s }'
}
measure vcd2fst vcd2fst "$vcd" "$folder/tachproof_bench.fst"
rm -f "$folder/tachproof_bench.fst"
# sigrok-cli makes a sample of every microsecond: a short piece is enough.
piece=$folder/tachproof_bench_piece.vcd
head -n 200000 "$vcd" > "$piece"
megabytes=$(( $(wc -c < "$piece") / 1000000 ))
measure sigrok-cli sigrok-cli -I vcd -i "$piece" -O vcd -o /dev/null
rm -f "$piece"
