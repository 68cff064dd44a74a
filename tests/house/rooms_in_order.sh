#!/bin/sh
# One way down. A room of core includes itself and the rooms before it in `order`; a folder of bench includes
# core and the folders named with it; the rigs of one kind none of another kind.
#   rooms_in_order.sh SOURCE_FOLDER
set -eu
cd "$1"

lines=$(find core bench \( -name '*.h' -o -name '*.cc' \) ! -path 'bench/firmware/*' -exec grep -HE '^ *# *include *"' {} + || true)
[ -n "$lines" ] || { echo "no include lines were found"; exit 1; }
astray=$(find core -mindepth 1 -maxdepth 1 -type f ! -name CMakeLists.txt ! -name '*.md' | sort)
[ -z "$astray" ] || { echo "in no room of core:"; echo "$astray" | sed 's/^/  /'; exit 1; }

echo "$lines" | awk -F: '
BEGIN {
  count = split("base gauge signal judge plan flicker recording camera compare cause", order, " ")
  for (i = 1; i <= count; ++i) floor[order[i]] = i
  may["formats"] = "files formats"
  may["files"] = "files formats rigs"  # of the rigs only the simulated one
  may["rigs"] = "files firmware rigs"
  may["record"] = "files record"
  may["run"] = "files formats record rigs run"  # a run does not know that reports exist
  may["reports"] = "record reports run"
  may["history"] = "history record reports"
  may["camera"] = "camera files rigs"
  may["commands"] = "commands files formats history record reports rigs run"
  may["install"] = "commands install page rigs"  # of the rigs their words
  may["page"] = "commands files formats history page record reports rigs run"
}
function complain(why) {
  print file " includes " target ": " why
  bad = 1
}
{
  file = $1
  split($2, quoted, "\"")
  target = quoted[2]
  depth = split(file, from, "/")
  inside = split(target, to, "/")
  if (from[1] == "core") {
    if (to[1] != "core") complain("not of core")
    else if (!(from[2] in floor)) complain(from[2] " is no room of core that has a place in the order")
    else if (!(to[2] in floor)) complain("no room of core")
    else if (floor[to[2]] > floor[from[2]]) complain(to[2] " is above " from[2])
    next
  }
  if (depth == 2 || to[1] == "core") next
  if (to[1] != "bench") complain("neither of bench nor of core")
  else if (!(from[2] in may)) complain(from[2] " is no folder of bench that has a rule")
  else if (index(" " may[from[2]] " ", " " to[2] " ") == 0) complain("not for " from[2])
  else if (from[2] == "files" && to[2] == "rigs" && target !~ /^bench\/rigs\/simulated\//)
    complain("of the rigs only the simulated one, for its catalogue of faults, is for files")
  else if (from[2] == "rigs" && to[2] == "rigs" && inside == 4 && from[3] != to[3] && from[3] !~ /^factory\./)
    complain(depth == 4 ? "a rig of another kind" : "a kind of rig, from what all share")
}
END { exit bad }'
