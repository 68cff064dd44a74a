# What bash would offer after these words, a line each.
#   bash offered.bash COMPLETION_FILE WORD...     the last word is the one that is being written
. "$1"
shift
compopt() { :; } # only for a shell at a terminal
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
COMPREPLY=()
_tachproof
printf '%s\n' "${COMPREPLY[@]}" | sort
