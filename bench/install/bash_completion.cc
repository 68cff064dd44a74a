#include "bench/install/page_texts.h"

namespace tachproof {
namespace {

using Kind = Arguments::Argument::Kind;

bool is_option(const Arguments::Argument& argument) { return argument.name.starts_with("--"); }

// As the script's functions have it: "kinds gauge", "files", "words board scpi".
std::string in_shell(const Offer& offer) {
  std::string text;
  switch (offer.from) {
    case Offer::From::nothing: return "nothing";
    case Offer::From::kinds: text = "kinds"; break;
    case Offer::From::files: return "files";
    case Offer::From::folders: return "folders";
    case Offer::From::run_folders: return "runs";
    case Offer::From::devices: text = "devices"; break;
    case Offer::From::words: text = "words"; break;
  }
  for (const std::string& word : offer.words) text += " " + word;
  return text;
}

// The offers of a command, a line each: an option with a value, a word by its place.
std::string of_command(const DescribedCommand& command) {
  std::string options, cases, words;
  for (const Arguments::Argument& argument : command.arguments.all()) {
    const std::string offer = in_shell(offered_for(command.help.name, argument));
    if (!is_option(argument)) {
      words += " '" + offer + "'";
      continue;
    }
    options += " " + argument.name;
    if (argument.kind != Kind::flag) cases += "        " + argument.name + ") takes='" + offer + "' ;;\n";
  }
  return "    " + command.help.name + ")\n      options='" + options.substr(options.empty() ? 0 : 1) +
         " --help'\n" + "      words=(" + words.substr(words.empty() ? 0 : 1) + ")\n" +
         (cases.empty() ? "" : "      case $2 in\n" + cases + "      esac\n") + "      ;;\n";
}

constexpr std::string_view functions = R"sh(
# Sets options, words and takes: what COMMAND has, and what its OPTION takes.
_tachproof_describe() {
  takes='' options='' words=()
  case $1 in
@COMMANDS@  esac
}

# YAML and JSON files whose `kind:` is one of these, and folders on the way to them. No pipe or device is opened.
_tachproof_kinds() {
  local file at text kind pattern
  while IFS= read -r file; do
    at=${file/#\~\//$HOME/}
    if [[ -d $at ]]; then
      COMPREPLY+=("$file")
    elif [[ -f $at && -r $at && $file =~ \.(yaml|yml|json)$ ]]; then
      IFS= read -r -d '' -n 4000 text <"$at"
      for kind; do
        pattern="(^|[[:space:],{\"'])kind[\"']?:[[:space:]]*[\"']?$kind([^a-z-]|\$)"
        [[ $text =~ $pattern ]] && COMPREPLY+=("$file")
      done
    fi
  done < <(compgen -f -- "$cur")
  compopt -o filenames
}

# Folders that hold a run or a suite, and folders on the way to them.
_tachproof_runs() {
  local folder at
  while IFS= read -r folder; do
    at=${folder/#\~\//$HOME/}
    if [[ -e $at/result.json || -e $at/suite.json ]] || compgen -d -- "$at/" >/dev/null; then
      COMPREPLY+=("$folder")
    fi
  done < <(compgen -d -- "$cur")
  compopt -o filenames
}

# Devices of these patterns that are there.
_tachproof_devices() {
  local pattern device
  for pattern; do
    while IFS= read -r device; do
      [[ -e $device && $device == "$cur"* ]] && COMPREPLY+=("$device")
    done < <(compgen -G "$pattern")
  done
}

_tachproof_offer() {
  local -a how
  read -r -a how <<<"$1"
  case ${how[0]} in
    kinds) _tachproof_kinds "${how[@]:1}" ;;
    runs) _tachproof_runs ;;
    devices) _tachproof_devices "${how[@]:1}" ;;
    words) mapfile -t COMPREPLY < <(compgen -W "${how[*]:1}" -- "$cur") ;;
    files) mapfile -t COMPREPLY < <(compgen -f -- "$cur"); compopt -o filenames ;;
    folders) mapfile -t COMPREPLY < <(compgen -d -- "$cur"); compopt -o filenames ;;
  esac
}

_tachproof() {
  local cur=${COMP_WORDS[COMP_CWORD]} option=${COMP_WORDS[COMP_CWORD-1]} command=${COMP_WORDS[1]}
  local options takes word i place=0
  local -a words
  COMPREPLY=()
  if ((COMP_CWORD == 1)); then
    mapfile -t COMPREPLY < <(compgen -W '@NAMES@ --help --version' -- "$cur")
    return
  fi
  # Bash parts --option=value at the sign.
  if [[ $cur == '=' ]]; then
    cur=
  elif [[ $option == '=' ]]; then
    option=${COMP_WORDS[COMP_CWORD-2]}
  fi
  _tachproof_describe "$command" "$option"
  if [[ -n $takes ]]; then
    _tachproof_offer "$takes"
    return
  fi
  if [[ $cur == -* ]]; then
    mapfile -t COMPREPLY < <(compgen -W "$options" -- "$cur")
    return
  fi
  # Which of the command's words it is; the last may come again and again.
  for ((i = 2; i < COMP_CWORD; ++i)); do
    word=${COMP_WORDS[i]}
    _tachproof_describe "$command" "$word"
    if [[ -n $takes ]]; then
      [[ ${COMP_WORDS[i+1]} == '=' ]] && ((++i))
      ((++i))
    elif [[ $word != -* ]]; then
      ((++place))
    fi
  done
  ((${#words[@]} > 0)) || return
  ((place < ${#words[@]})) || place=$((${#words[@]} - 1))
  _tachproof_offer "${words[place]}"
}

complete -F _tachproof tachproof
)sh";

}  // namespace

std::string bash_completion(const std::vector<DescribedCommand>& commands) {
  std::string names, cases;
  for (const DescribedCommand& command : commands) {
    names += (names.empty() ? "" : " ") + command.help.name;
    cases += of_command(command);
  }
  const std::string script =
      "# Completion for tachproof in bash. Made when the program was built, of what it says of itself.\n";
  return script + filled(functions, cases, names);
}

}  // namespace tachproof
