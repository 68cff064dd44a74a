#!/bin/sh
# Which kind a source or a watcher is, is asked of the kind (bench/rigs/kinds.h); its word is compared nowhere. Only the
# folder of a kind names it, and the command line, whose options are one kind's.
#   kinds_are_asked.sh SOURCE_FOLDER
set -eu
cd "$1"

words=$(sed -n 's/.*std::string word() const override { return "\([a-z]*\)"; }.*/\1/p' bench/rigs/*/*_kind.cc | sort -u)
[ -n "$words" ] || { echo "no kind was found in bench/rigs/*/*_kind.cc"; exit 1; }
any=$(echo $words | tr ' ' '|')

compared=$(grep -rnE "(==|!=) *\"($any)\"|\"($any)\" *(==|!=)" bench --include='*.cc' --include='*.h' || true)
named=$(grep -rnE "[kK]ind(\(\))? *= *\"($any)\"" bench --include='*.cc' --include='*.h' | grep -v '^bench/rigs/[a-z]*/' || true)
if [ -n "$compared$named" ]; then
  echo "A kind's word stands where the kind should be asked:"
  printf '%s\n%s\n' "$compared" "$named" | sed '/^$/d; s/^/  /'
  exit 1
fi
