#include "bench/files/yaml_tree.h"

#include <yaml-cpp/anchor.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <map>
#include <sstream>

#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// Ends the parse; the error is already in the list.
struct Stop {};

// Byte offsets to places, columns in characters. A file may be one long line
// of a million values, so characters are counted from the last of many marks.
class Lines {
 public:
  explicit Lines(std::string_view text) : text_(text) {
    std::size_t characters = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
      if (i % spacing == 0) counted_.push_back(characters);
      if (begins_character(text[i])) ++characters;
      if (text[i] == '\n') starts_.push_back(i + 1);
    }
    counted_.push_back(characters);
  }

  Place place(std::size_t offset) const {
    offset = std::min(offset, text_.size());
    const auto after = std::upper_bound(starts_.begin(), starts_.end(), offset);
    const std::size_t column = characters_before(offset) - characters_before(*(after - 1)) + 1;
    return {static_cast<int>(after - starts_.begin()), static_cast<int>(column)};
  }

  Place place(const YAML::Mark& mark) const {
    return place(mark.pos < 0 ? 0 : static_cast<std::size_t>(mark.pos));
  }

 private:
  static constexpr std::size_t spacing = 256;

  static bool begins_character(char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }

  std::size_t characters_before(std::size_t offset) const {
    if (offset == text_.size()) return counted_.back();
    std::size_t characters = counted_[offset / spacing];
    for (std::size_t i = offset / spacing * spacing; i < offset; ++i)
      if (begins_character(text_[i])) ++characters;
    return characters;
  }

  std::string_view text_;
  std::vector<std::size_t> starts_{0};  // of lines
  std::vector<std::size_t> counted_;    // characters before every 256th byte; last: all
};

bool is_text(std::string_view text, const Lines& lines, ErrorList& errors) {
  for (std::size_t i = 0; i < text.size();) {
    char32_t code = 0;
    const std::size_t length = utf8_sequence(text.substr(i), code);
    if (length == 0) {
      errors.add(lines.place(i), "a byte that is not UTF-8", "a text file in UTF-8");
      return false;
    }
    if (is_control(code) && code != '\t' && code != '\n' && code != '\r') {
      errors.add(lines.place(i), "a control character, " + control_shown(code), "a text file in UTF-8");
      return false;
    }
    i += length;
  }
  return true;
}

class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(std::string_view text, const Lines& lines, ErrorList& errors)
      : text_(text), lines_(lines), errors_(errors) {}

  YamlTree take() { return std::move(tree_); }

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ > 1) stop(mark, "a second document", "one document in a file");
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    const Place key = !open_.empty() && open_.back().key != nullptr ? open_.back().key->at : Place{};
    YamlNode& node = leaf(YamlNode::Kind::nothing, mark, anchor);
    // A value that was left out is where its key or its dash is; the library
    // gives the place of what comes next.
    if (is_written(mark)) return;
    if (key.line > 0)
      node.at = key;
    else
      node.at = lines_.place(dash_before(mark));
  }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    refuse_tag(mark, tag);
    YamlNode& node = leaf(YamlNode::Kind::scalar, mark, anchor);
    node.quoted = tag == "!";
    node.text = value;
    if (node.quoted) check_quotes(mark);
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    refuse_tag(mark, tag);
    open(YamlNode::Kind::list, mark, anchor);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    refuse_tag(mark, tag);
    open(YamlNode::Kind::mapping, mark, anchor);
  }
  void OnMapEnd() override { close(); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    const auto found = anchors_.find(anchor);
    if (found == anchors_.end())
      stop(mark, "an alias inside the value that it stands for", "aliases of values that end before them");
    const Anchored& whole = found->second;
    count(mark, whole.nodes);
    deepen(mark, whole.height);
    place(whole.node, mark);
  }

 private:
  struct Open {
    YamlNode* node = nullptr;
    const YamlNode* key = nullptr;  // waits for its value
    YAML::anchor_t anchor = 0;
    std::size_t nodes_before = 0;
    std::size_t height = 1;
  };
  struct Anchored {
    const YamlNode* node = nullptr;
    std::size_t nodes = 1;  // with aliases expanded
    std::size_t height = 1;
  };

  [[noreturn]] void stop(const YAML::Mark& mark, const std::string& found, const std::string& allowed) {
    stop(lines_.place(mark), found, allowed);
  }
  [[noreturn]] void stop(Place at, const std::string& found, const std::string& allowed) {
    errors_.add(at, found, allowed);
    throw Stop{};
  }

  bool is_written(const YAML::Mark& mark) const {
    const auto i = static_cast<std::size_t>(std::max(mark.pos, 0));
    return i < text_.size() && (text_[i] == '~' || text_[i] == 'n' || text_[i] == 'N' || text_[i] == '&');
  }

  std::size_t dash_before(const YAML::Mark& mark) const {
    const auto i = static_cast<std::size_t>(std::max(mark.pos, 0));
    if (i == 0) return 0;
    const std::size_t dash = text_.find_last_not_of(" \t\r\n", i - 1);
    return dash != std::string_view::npos && text_[dash] == '-' ? dash : i;
  }

  void refuse_tag(const YAML::Mark& mark, const std::string& tag) {
    if (!tag.empty() && tag != "?" && tag != "!")
      stop(mark, "the tag '" + on_one_line(tag) + "'", "values without tags");
  }

  void count(const YAML::Mark& mark, std::size_t more) {
    nodes_ += more;
    if (nodes_ > max_nodes)
      stop(mark, "more than " + std::to_string(max_nodes) + " values, aliases expanded",
           "a file of at most that many");
  }

  // `height` levels more below those that are open.
  void deepen(const YAML::Mark& mark, std::size_t height) {
    if (open_.size() + height > max_depth)
      stop(mark, "values nested more than " + std::to_string(max_depth) + " deep", "at most that deep");
    for (std::size_t i = 0; i < open_.size(); ++i)
      open_[i].height = std::max(open_[i].height, open_.size() - i + height);
  }

  YamlNode& make(YamlNode::Kind kind, const YAML::Mark& mark) {
    count(mark, 1);
    YamlNode& node = tree_.nodes.emplace_back();
    node.kind = kind;
    node.at = lines_.place(mark);
    return node;
  }

  YamlNode& leaf(YamlNode::Kind kind, const YAML::Mark& mark, YAML::anchor_t anchor) {
    YamlNode& node = make(kind, mark);
    deepen(mark, 1);
    if (anchor != 0) anchors_[anchor] = {&node, 1, 1};
    place(&node, mark);
    return node;
  }

  void open(YamlNode::Kind kind, const YAML::Mark& mark, YAML::anchor_t anchor) {
    const std::size_t before = nodes_;
    YamlNode& node = make(kind, mark);
    deepen(mark, 1);
    if (key_is_next()) stop(mark, "a key that is not text", "keys of plain text, and brackets that close");
    open_.push_back({&node, nullptr, anchor, before, 1});
  }

  void close() {
    const Open done = open_.back();
    open_.pop_back();
    if (done.anchor != 0) anchors_[done.anchor] = {done.node, nodes_ - done.nodes_before, done.height};
    place(done.node, {});
  }

  bool key_is_next() const {
    return !open_.empty() && open_.back().node->kind == YamlNode::Kind::mapping &&
           open_.back().key == nullptr;
  }

  void place(const YamlNode* node, const YAML::Mark& mark) {
    if (open_.empty()) {
      tree_.root = node;
      return;
    }
    Open& parent = open_.back();
    if (parent.node->kind == YamlNode::Kind::list) {
      parent.node->items.push_back(node);
    } else if (parent.key == nullptr) {
      if (node->kind != YamlNode::Kind::scalar)
        stop(mark, "a key that is not text", "keys of plain text, and brackets that close");
      parent.key = node;
    } else {
      if (parent.node->entries.size() == max_keys)
        stop(parent.key->at, "a mapping of more than " + std::to_string(max_keys) + " keys",
             "at most that many");
      parent.node->entries.push_back({parent.key, node});
      parent.key = nullptr;
    }
  }

  // The library takes a quote that never closes for one that ends with the
  // file.
  void check_quotes(const YAML::Mark& mark) {
    std::size_t i = mark.pos < 0 ? 0 : static_cast<std::size_t>(mark.pos);
    while (i < text_.size() && (text_[i] == '&' || text_[i] == '!')) {
      i = text_.find_first_of(" \t\r\n", i);
      if (i != std::string_view::npos) i = text_.find_first_not_of(" \t\r\n", i);
    }
    if (i >= text_.size() || (text_[i] != '\'' && text_[i] != '"')) return;
    const char quote = text_[i];
    const std::size_t opening = i;
    for (++i; i < text_.size(); ++i) {
      if (quote == '"' && text_[i] == '\\') {
        ++i;
      } else if (text_[i] == quote) {
        if (quote == '"' || i + 1 >= text_.size() || text_[i + 1] != '\'') return;
        ++i;
      }
    }
    stop(lines_.place(opening), "a quote that never closes", "a closing quote");
  }

  std::string_view text_;
  const Lines& lines_;
  ErrorList& errors_;
  YamlTree tree_;
  std::vector<Open> open_;
  std::map<YAML::anchor_t, Anchored> anchors_;
  std::size_t nodes_ = 0;
  int documents_ = 0;
};

}  // namespace

std::optional<YamlTree> parse_yaml(std::string_view text, ErrorList& errors) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  const Lines lines(text);
  if (!is_text(text, lines, errors)) return std::nullopt;
  TreeBuilder builder(text, lines, errors);
  try {
    std::istringstream in{std::string(text)};
    YAML::Parser parser(in);
    while (parser.HandleNextDocument(builder)) {
    }
  } catch (const Stop&) {
    return std::nullopt;
  } catch (const YAML::Exception& e) {
    if (e.msg == YAML::ErrorMsg::TAB_IN_INDENTATION)
      errors.add(lines.place(e.mark), "a tab at the start of a line", "blanks: YAML takes no tabs there");
    else
      errors.add(lines.place(e.mark), "not YAML: " + on_one_line(e.msg),
                 "check quotes, brackets and indentation");
    return std::nullopt;
  }
  YamlTree tree = builder.take();
  if (tree.root == nullptr) {
    errors.add({1, 1}, "an empty file", "format, kind and what the kind needs");
    return std::nullopt;
  }
  return tree;
}

}  // namespace tachproof
