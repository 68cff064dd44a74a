#include "bench/install/page_texts.h"

namespace tachproof {
namespace {

using Kind = Arguments::Argument::Kind;

// Between single quotes, in the part of a specification of _arguments that ends at a colon or a bracket.
std::string quoted(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '\'': out += "'\\''"; break;
      case ':':
      case '[':
      case ']':
      case '\\': out += std::string("\\") + c; break;
      default: out += c;
    }
  }
  return out;
}

// The help's first sentence, without its period.
std::string_view first_sentence(std::string_view help) {
  const std::size_t end = std::min(help.find(". "), help.find(".\n"));
  if (end != std::string_view::npos) return help.substr(0, end);
  return help.ends_with('.') ? help.substr(0, help.size() - 1) : help;
}

std::string action(const Offer& offer) {
  std::string words;
  for (const std::string& word : offer.words) words += (words.empty() ? "" : " ") + word;
  switch (offer.from) {
    case Offer::From::nothing: return " ";
    case Offer::From::kinds: return "_tachproof_kinds " + words;
    case Offer::From::files: return "_files";
    case Offer::From::folders: return "_files -/";
    case Offer::From::run_folders: return "_tachproof_runs";
    case Offer::From::devices: return "_tachproof_devices " + words;
    case Offer::From::words: return "(" + words + ")";
  }
  return " ";
}

std::string of_command(const DescribedCommand& command) {
  std::string text = "        " + command.help.name + ")\n          _arguments -s -S";
  for (const Arguments::Argument& argument : command.arguments.all()) {
    const std::string offer = action(offered_for(command.help.name, argument));
    const std::string help = quoted(first_sentence(argument.help));
    text += " \\\n            '";
    switch (argument.kind) {
      case Kind::word: text += ":" + quoted(argument.name) + ":" + offer; break;
      case Kind::words: text += "*:" + quoted(argument.name) + ":" + offer; break;
      case Kind::flag: text += argument.name + "[" + help + "]"; break;
      case Kind::option:
      case Kind::repeated:
        text += (argument.kind == Kind::repeated ? "*" : "") + argument.name + "=[" + help +
                "]:" + quoted(argument.value) + ":" + offer;
        break;
    }
    text += "'";
  }
  return text + " \\\n            '(-h --help)'{-h,--help}'[Prints this page]'\n          ;;\n";
}

constexpr std::string_view functions = R"sh(
# YAML and JSON files whose `kind:` is one of these, and folders on the way to them.
_tachproof_kinds() {
  local _tachproof_kinds_wanted="$*" none=1
  # Not _files, which offers all files where none is of the kind.
  _path_files -g '*.(yaml|yml|json)(-.r+_tachproof_is_of_kind)' && none=0
  _path_files -/ && none=0
  return $none
}

# Of the file REPLY, whether it is of a kind that is wanted.
_tachproof_is_of_kind() {
  local text kind
  read -r -u 0 -k 4000 text <$REPLY
  for kind in ${=_tachproof_kinds_wanted}; do
    [[ $text =~ "(^|[[:space:],{\"'])kind[\"']?:[[:space:]]*[\"']?$kind([^a-z-]|\$)" ]] && return 0
  done
  return 1
}

# Folders: those that hold a run or a suite lie anywhere.
_tachproof_runs() { _files -/ }

# Devices of these patterns that are there.
_tachproof_devices() {
  local -a there
  there=(${~@}(N))
  compadd -a there
}

_tachproof() {
  local state line
  typeset -A opt_args
  _arguments -C '(- *)'{-h,--help}'[Prints the list of commands]' '(- *)--version[Prints the version]' \
    '1:command:->command' '*::argument:->argument'
  case $state in
    command)
      local -a commands
      commands=(
@NAMES@      )
      _describe command commands
      ;;
    argument)
      case $line[1] in
@COMMANDS@      esac
      ;;
  esac
}

_tachproof "$@"
)sh";

}  // namespace

std::string zsh_completion(const std::vector<DescribedCommand>& commands) {
  std::string names, cases;
  for (const DescribedCommand& command : commands) {
    names += "        '" + command.help.name + ":" + quoted(command.help.summary) + "'\n";
    cases += of_command(command);
  }
  const std::string script =
      "#compdef tachproof\n"
      "# Completion for tachproof in zsh. Made when the program was built, of what it says of itself.\n";
  return script + filled(functions, cases, names);
}

}  // namespace tachproof
