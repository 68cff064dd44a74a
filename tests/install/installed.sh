#!/bin/sh
# What `cmake --install` leaves is whole and works: program, manual pages, completion, files that ship.
#   installed.sh SOURCE_FOLDER BUILD_FOLDER
# It compares with what --help prints, which is made apart from manual pages and completion.
set -eu
sources=$1 build=$2
here=$(cd "$(dirname "$0")" && pwd)
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
export HOME="$scratch/home" XDG_DATA_HOME="$scratch/home/data"
bad=0
complain() {
  echo "$*"
  bad=1
}
# same WHAT EXPECTED GOT
same() { [ "$2" = "$3" ] || complain "$1: expected '$2', got '$3'"; }
is_there() { [ -s "$1" ] || complain "not installed: ${1#"$scratch"}"; }

DESTDIR=$scratch cmake --install "$build" >"$scratch/log" || { cat "$scratch/log"; exit 1; }
prefix=$scratch$(sed -n 's/^CMAKE_INSTALL_PREFIX:PATH=//p' "$build/CMakeCache.txt")
program=$prefix/bin/tachproof data=$prefix/share/tachproof
completion=$prefix/share/bash-completion/completions/tachproof

# One version, in one place.
version=$(sed -n 's/^project(tachproof VERSION \([0-9.]*\).*/\1/p' "$sources/CMakeLists.txt")
same "first line of --version" "tachproof $version" "$("$program" --version | head -n 1)"
"$program" --version | grep -q '^commit .' || complain "--version names no commit"
"$program" --version | grep -q '^built by .' || complain "--version does not say by what it was built"
same "the changelog's first line" "tachproof ($version)" \
  "$(gzip -dc "$prefix/share/doc/tachproof/changelog.gz" | sed -n '1s/) .*/)/p')"

# Every command that the program lists has its page, and each of its options is in it and in the completions.
commands=$("$program" --help | sed -n '/^Commands/,/^$/s/^  \([a-z]*\) .*/\1/p')
[ "$(echo "$commands" | wc -l)" -ge 20 ] || complain "--help lists few commands: $commands"
# shellcheck disable=SC2086  # a list of words
same "commands in bash" "$(printf '%s\n' $commands --help --version | sort)" \
  "$(bash "$here/offered.bash" "$completion" tachproof '')"
zsh_file=$(find "$prefix/share/zsh" -name _tachproof)
for command in $commands; do
  page=$prefix/share/man/man1/tachproof-$command.1.gz
  is_there "$page"
  gzip -dc "$page" | sed 's/\\-/-/g' >"$scratch/page"
  options=$("$program" "$command" --help | sed -n '/^Options/,/^Exit status/s/^  \(-h, \)*\(--[a-z-]*\).*/\2/p')
  [ -n "$options" ] || complain "$command --help has no options"
  same "options of $command in bash" "$(echo "$options" | sort)" \
    "$(bash "$here/offered.bash" "$completion" tachproof "$command" --)"
  sed -n "/^        $command)\$/,/^          ;;/p" "$zsh_file" >"$scratch/zsh"
  for option in $options; do
    grep -qE "^\.B (-h, )?$option( |\$)" "$scratch/page" || complain "$option is not in the page of $command"
    grep -qE "['{,*]${option}[]['=,}]" "$scratch/zsh" || complain "$option of $command is not in zsh's completion"
  done
  gzip -dc "$prefix/share/man/man1/tachproof.1.gz" | sed 's/\\-/-/g' | grep -q "^.BR tachproof-$command (1)" ||
    complain "tachproof(1) does not lead to tachproof-$command(1)"
done
same "manual pages" "$(echo "$commands" | wc -l)" "$(find "$prefix/share/man/man1" -name 'tachproof-*.1.gz' | wc -l)"
# Compressed without name and time: flags and time in the head are 0.
for page in "$prefix"/share/man/man1/*.gz "$prefix/share/doc/tachproof/changelog.gz"; do
  same "head of $page" "1f8b08 00 00000000" \
    "$(od -An -tx1 -N8 "$page" | tr -d ' \n' | sed 's/^\(......\)\(..\)/\1 \2 /')"
done
if command -v zsh >/dev/null; then zsh -n "$zsh_file" || complain "zsh cannot read its completion"; fi
if command -v man >/dev/null; then
  for page in tachproof tachproof-run; do
    warnings=$(MANROFFSEQ='' LC_ALL=C man --warnings -l "$prefix/share/man/man1/$page.1.gz" 2>&1 >"$scratch/text" |
      grep -v locale || true)
    same "warnings of man for $page" "" "$warnings"
    grep -q 'EXIT STATUS' "$scratch/text" || complain "man shows little of $page"
  done
fi

# Values are completed by the kind of file.
mkdir "$scratch/work"
cp -r "$data/." "$scratch/work"
cd "$scratch/work"
offered() { bash "$here/offered.bash" "$completion" tachproof "$@" | tr '\n' ' '; }
same "rig files" "fixtures/rigs/board-buttons.yaml fixtures/rigs/board.yaml " "$(offered run --rig fixtures/rigs/bo)"
same "a gauge among rigs" " " "$(offered run --gauge fixtures/rigs/b)"
same "after an equals sign" "fixtures/gauges/esker.yaml " "$(offered run --gauge = fixtures/gauges/e)"
same "scenarios to run" "scenarios/response.yaml " "$(offered run scenarios/res)"
same "jobs to run" "fixtures/jobs/drumlin-plan.yaml " "$(offered run fixtures/jobs/drumlin-p)"
same "a job where no job goes" " " "$(offered expect fixtures/jobs/drumlin-p)"
same "what settings does" "diff sheet " "$(offered settings '')"
same "the second word of settings" "fixtures/gauges/kame.yaml " "$(offered settings sheet fixtures/gauges/k)"
same "words that a source has" "scpi simulated " "$(offered rig --source s)"
printf '# of a friend\n{"format": 1, "kind": "gauge"}' >friend.json
same "a gauge in JSON" "friend.json " "$(offered check --gauge fr)"
mkfifo pipe.yaml
same "a pipe is not opened" " " "$(timeout 5 bash "$here/offered.bash" "$completion" tachproof run --rig pi | tr '\n' ' ')"

# The installed program, with the installed files, away from the sources.
"$program" check "$data"/fixtures/gauges/*.yaml "$data"/fixtures/jobs/*.yaml "$data"/scenarios/*.yaml \
  >"$scratch/checked" || complain "check: $(cat "$scratch/checked")"
status=0
"$program" run "$data/scenarios/response.yaml" --gauge "$data/fixtures/gauges/drumlin.yaml" \
  --rig "$data/fixtures/rigs/simulated.yaml" --no-history --out runs/first >"$scratch/said" 2>&1 || status=$?
[ $status -eq 0 ] || complain "run: exit status $status: $(cat "$scratch/said")"
same "run folders" "runs/first " "$(offered report runs/)"
# Where a camera is installed, the program finds it: what is complained of is the clip.
if [ -x "$prefix/libexec/tachproof/tachproof-camera" ]; then
  mkdir no-clip
  "$program" teach no-clip --gauge fixtures/gauges/drumlin.yaml >"$scratch/said" 2>&1 || true
  if grep -q 'has no camera' "$scratch/said"; then complain "the camera is not found: $(cat "$scratch/said")"; fi
fi

# Links of the pages lead to installed files, unless to what only contributors read.
find "$data" -name '*.md' | while read -r page; do
  grep -oE '\]\([^)#: ]+[)#]' "$page" | sed 's/^](//; s/[)#]$//' | grep -vE 'DEVELOPERS\.md$|tests/|\.(h|cc|py)$' |
    while read -r link; do
      [ -e "$(dirname "$page")/$link" ] || echo "${page#"$data/"} leads to $link, which is not installed"
    done
done >"$scratch/links"
[ ! -s "$scratch/links" ] || complain "$(cat "$scratch/links")"

for file in share/doc/tachproof/copyright lib/udev/rules.d/70-tachproof.rules lib/systemd/user/tachproof.service \
  share/applications/tachproof.desktop share/icons/hicolor/scalable/apps/tachproof.svg \
  share/tachproof/fixtures/schemas/gauge.schema.json share/tachproof/fixtures/pictures/report.png; do
  is_there "$prefix/$file"
done
if command -v desktop-file-validate >/dev/null; then
  desktop-file-validate "$prefix/share/applications/tachproof.desktop" || complain "the desktop file is wrong"
fi
exit $bad
