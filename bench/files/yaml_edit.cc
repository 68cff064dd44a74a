#include "bench/files/yaml_edit.h"

#include <algorithm>
#include <optional>

#include "bench/files/yaml_places.h"

namespace tachproof {
namespace {

using Kind = YamlValue::Kind;

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

struct Edit {
  std::size_t begin = 0, end = 0;
  std::string with;
};

const YamlNode* entry_of(const YamlNode& mapping, const std::string& key, const YamlNode** found_key) {
  for (const YamlNode::Entry& entry : mapping.entries)
    if (entry.key->text == key) {
      *found_key = entry.key;
      return entry.value;
    }
  return nullptr;
}

bool has(const YamlValue& mapping, const std::string& key) {
  return std::any_of(mapping.entries.begin(), mapping.entries.end(),
                     [&](const auto& entry) { return entry.key == key; });
}

// Which item of the old list each wanted one is; none: it is new. Those that say the same first, then those
// that begin alike, then those that stand between the same neighbours.
std::vector<std::optional<std::size_t>> aligned(const std::vector<const YamlNode*>& old,
                                                const std::vector<YamlValue>& wanted) {
  const auto score = [](const YamlNode& a, const YamlValue& b) {
    if (says(a, b)) return 8;
    const bool mappings = a.kind == YamlNode::Kind::mapping && b.kind == Kind::mapping;
    if (!mappings || a.entries.empty() || b.entries.empty()) return 1;
    if (a.entries[0].key->text != b.entries[0].key) return 0;
    return says(*a.entries[0].value, b.entries[0].value) ? 4 : 1;
  };
  const std::size_t n = old.size(), m = wanted.size();
  std::vector<std::vector<int>> best(n + 1, std::vector<int>(m + 1, 0));
  std::vector<std::vector<int>> pair(n, std::vector<int>(m, 0));
  for (std::size_t i = n; i-- > 0;)
    for (std::size_t j = m; j-- > 0;) {
      pair[i][j] = score(*old[i], wanted[j]);
      best[i][j] =
          std::max({best[i + 1][j], best[i][j + 1], pair[i][j] > 0 ? best[i + 1][j + 1] + pair[i][j] : 0});
    }
  std::vector<std::optional<std::size_t>> from(m);
  for (std::size_t i = 0, j = 0; i < n && j < m;) {
    if (pair[i][j] > 0 && best[i][j] == best[i + 1][j + 1] + pair[i][j])
      from[j++] = i++;
    else if (best[i][j] == best[i + 1][j])
      ++i;
    else
      ++j;
  }
  return from;
}

class Editor {
 public:
  Editor(std::string_view text, const YamlNode& root)
      : text_(text), places_(text), root_(root), eol_(text.find("\r\n") != text.npos ? "\r\n" : "\n") {}

  // By places; `coarse`: entries that differ are written anew as a whole.
  std::optional<std::string> edited(const YamlValue& wanted, bool coarse) {
    if (root_.kind != YamlNode::Kind::mapping || places_.is_flow(root_)) return std::nullopt;
    coarse_ = coarse;
    edits_.clear();
    if (!block_mapping(root_, wanted, true)) return std::nullopt;
    std::stable_sort(edits_.begin(), edits_.end(),
                     [](const Edit& a, const Edit& b) { return a.begin < b.begin; });
    std::string result(text_);
    std::size_t last = text_.size();
    for (auto edit = edits_.rbegin(); edit != edits_.rend(); ++edit) {
      if (edit->end > last) return std::nullopt;  // one within another
      result.replace(edit->begin, edit->end - edit->begin, edit->with);
      last = edit->begin;
    }
    return result;
  }

  // From a key of the outermost mapping to the end of its last line.
  std::optional<std::pair<std::size_t, std::size_t>> lines_of(const YamlNode& key) const {
    const std::size_t from = places_.begin(key);
    std::size_t to = text_.size();
    for (const YamlNode::Entry& other : root_.entries)
      if (const std::size_t at = places_.begin(*other.key); at > from) to = std::min(to, at);
    if (places_.line_begin(from) != from) return std::nullopt;
    // Comments and empty lines before the next key are the next one's.
    std::size_t end = places_.line_end(from);
    for (std::size_t line = end; line < to; line = places_.line_end(line)) {
      const std::size_t first = text_.find_first_not_of(" \t\r\n", line);
      if (first >= to || first == text_.npos) break;
      const std::string_view rest = text_.substr(first, 3);
      if (places_.line_begin(first) == first && (rest == "..." || rest == "---")) break;
      line = places_.line_begin(first);
      if (text_[first] != '#') end = places_.line_end(line);
    }
    return std::pair{from, end};
  }

 private:
  std::string with_ends(std::string lines) const {
    if (eol_ == "\n") return lines;
    std::string out;
    for (const char c : lines) {
      if (c == '\r') continue;
      if (c == '\n') out += '\r';
      out += c;
    }
    return out;
  }

  void insert_line(std::size_t at, const std::string& line) {
    const bool whole_before = at == 0 || text_[at - 1] == '\n';
    edits_.push_back({at, at, (whole_before ? "" : eol_) + with_ends(line)});
  }

  bool replace(const YamlNode& old, const YamlValue& wanted) {
    const std::optional<std::size_t> end = places_.end(old);
    if (!end) return false;
    edits_.push_back({places_.begin(old), *end, flow_text(wanted)});
    return true;
  }

  // Whether every value stands behind its key, and every item behind the one before: no alias among them.
  bool in_order(const YamlNode& node) const {
    std::size_t at = places_.begin(node);
    for (const YamlNode* item : node.items) {
      const std::size_t next = places_.begin(*item);
      if (next < at || (item != node.items.front() && next == at)) return false;
      at = next;
    }
    for (const YamlNode::Entry& entry : node.entries) {
      const std::size_t key = places_.begin(*entry.key), value = places_.begin(*entry.value);
      if (key < at || (value <= key && entry.value->kind != YamlNode::Kind::nothing)) return false;
      at = std::max(key, value);
    }
    return true;
  }

  bool change(const YamlNode& old, const YamlValue& wanted) {
    if (says(old, wanted)) return true;
    const std::size_t before = edits_.size();
    const bool lists = old.kind == YamlNode::Kind::list && wanted.kind == Kind::list;
    const bool mappings = old.kind == YamlNode::Kind::mapping && wanted.kind == Kind::mapping;
    if ((lists || mappings) && in_order(old)) {
      const bool flow = places_.is_flow(old);
      const bool done = flow ? (lists ? flow_list(old, wanted) : flow_mapping(old, wanted))
                             : (lists ? block_list(old, wanted) : block_mapping(old, wanted, false));
      if (done) return true;
      edits_.resize(before);
    }
    if (replace(old, wanted)) return true;
    edits_.resize(before);
    return false;
  }

  bool flow_list(const YamlNode& old, const YamlValue& wanted) {
    if (old.items.size() != wanted.items.size()) return false;
    for (std::size_t i = 0; i < old.items.size(); ++i)
      if (!change(*old.items[i], wanted.items[i])) return false;
    return true;
  }

  bool flow_mapping(const YamlNode& old, const YamlValue& wanted) {
    if (old.entries.size() != wanted.entries.size()) return flow_entries(old, wanted);
    std::vector<const YamlNode::Entry*> left;
    for (const YamlNode::Entry& entry : old.entries)
      if (!has(wanted, entry.key->text)) left.push_back(&entry);
    auto renamed = left.begin();
    for (const auto& [key, value] : wanted.entries) {
      const YamlNode* old_key = nullptr;
      const YamlNode* old_value = entry_of(old, key, &old_key);
      if (old_value == nullptr) {
        if (renamed == left.end()) return false;
        if (!replace(*(*renamed)->key, YamlValue::scalar(key))) return false;
        old_value = (*renamed++)->value;
      }
      if (!change(*old_value, value)) return false;
    }
    return renamed == left.end();
  }

  // Entries between braces come or go, but not both; only worth it where comments stand between them.
  bool flow_entries(const YamlNode& old, const YamlValue& wanted) {
    const std::optional<std::size_t> whole = places_.end(old);
    const auto has_comment = [&](std::size_t from, std::size_t to) {
      return text_.substr(from, to - from).find('#') != text_.npos;
    };
    if (!whole || old.entries.empty() || !has_comment(places_.begin(old), *whole)) return false;
    std::size_t kept = 0;
    for (std::size_t i = 0; i < old.entries.size(); ++i) {
      const YamlNode::Entry& entry = old.entries[i];
      const std::optional<std::size_t> end = places_.end(*entry.value);
      if (!end) return false;
      if (const auto found = std::find_if(wanted.entries.begin(), wanted.entries.end(),
                                          [&](const auto& w) { return w.key == entry.key->text; });
          found != wanted.entries.end()) {
        ++kept;
        if (!change(*entry.value, found->value)) return false;
        continue;
      }
      const bool last = i + 1 == old.entries.size();
      if (last && i == 0) return false;
      const std::optional<std::size_t> before = i > 0 ? places_.end(*old.entries[i - 1].value) : std::nullopt;
      const std::size_t from = last ? before.value_or(0) : places_.begin(*entry.key);
      const std::size_t to = last ? *end : places_.begin(*old.entries[i + 1].key);
      if (from == 0 || has_comment(from, to)) return false;
      edits_.push_back({from, to, ""});
    }
    if (wanted.entries.size() == kept) return true;
    if (kept != old.entries.size()) return false;
    std::string more;
    for (const auto& [key, value] : wanted.entries) {
      const YamlNode* old_key = nullptr;
      if (entry_of(old, key, &old_key) == nullptr) more += ", " + scalar_text(key) + ": " + flow_text(value);
    }
    const std::size_t end = *places_.end(*old.entries.back().value);
    edits_.push_back({end, end, more});
    return true;
  }

  bool block_list(const YamlNode& old, const YamlValue& wanted) {
    if (wanted.items.empty()) return false;
    const std::vector<std::optional<std::size_t>> from = aligned(old.items, wanted.items);
    const std::optional<std::size_t> first = places_.dash(*old.items.front());
    if (!first) return false;
    const std::string indent(*places_.indent(*first), ' ');
    std::vector<bool> kept(old.items.size(), false);
    for (std::size_t j = 0; j < from.size(); ++j)
      if (from[j]) {
        kept[*from[j]] = true;
        if (!change(*old.items[*from[j]], wanted.items[j])) return false;
      }
    std::size_t at = places_.line_begin(*first);
    for (std::size_t j = 0; j < from.size(); ++j) {
      if (!from[j]) {
        insert_line(at, indent + "- " + flow_text(wanted.items[j]) + "\n");
        continue;
      }
      const std::optional<std::size_t> end = places_.end(*old.items[*from[j]]);
      if (!end) return false;
      at = places_.line_end(*end);
    }
    for (std::size_t i = 0; i < kept.size(); ++i)
      if (!kept[i]) {
        const std::optional<std::size_t> dash = places_.dash(*old.items[i]), end = places_.end(*old.items[i]);
        if (!dash || !end) return false;
        edits_.push_back({places_.line_begin(*dash), places_.line_end(*end), ""});
      }
    return true;
  }

  // One entry of the outermost mapping, anew.
  bool rewrite(const YamlNode& key, const std::string& name, const YamlValue& wanted) {
    const auto lines = lines_of(key);
    if (!lines) return false;
    edits_.push_back({lines->first, lines->second, with_ends(entry_text(name, wanted))});
    return true;
  }

  bool change_entry(const YamlNode::Entry& entry, const YamlValue& wanted, bool outermost) {
    if (wanted.kind == Kind::raw) {
      const auto lines = lines_of(*entry.key);
      const std::string text = with_ends(entry_text({}, wanted));
      if (!lines) return false;
      if (text_.substr(lines->first, lines->second - lines->first) != text)
        edits_.push_back({lines->first, lines->second, text});
      return true;
    }
    if (says(*entry.value, wanted)) return true;
    if (outermost && coarse_) return rewrite(*entry.key, entry.key->text, wanted);
    if (places_.begin(*entry.value) > places_.begin(*entry.key) && change(*entry.value, wanted)) return true;
    return outermost && rewrite(*entry.key, entry.key->text, wanted);
  }

  bool block_mapping(const YamlNode& old, const YamlValue& wanted, bool outermost) {
    if (wanted.entries.empty() && old.entries.size() == 1) {  // "{}" in its place
      const std::optional<std::size_t> end = places_.end(*old.entries[0].value);
      if (end) edits_.push_back({places_.begin(old), *end, "{}"});
      return end.has_value();
    }
    for (const YamlNode::Entry& entry : old.entries)
      for (const auto& [key, value] : wanted.entries)
        if (key == entry.key->text && !change_entry(entry, value, outermost)) return false;
    const std::size_t first = places_.begin(*old.entries.front().key);
    const std::string indent(first - places_.line_begin(first), ' ');
    std::optional<std::size_t> at;
    for (const auto& [key, value] : wanted.entries) {
      const YamlNode* old_key = nullptr;
      const YamlNode* old_value = entry_of(old, key, &old_key);
      if (old_value != nullptr) {
        at = end_of_entry(*old_key, *old_value, outermost);
        if (!at) return false;
        continue;
      }
      if (!at) return false;  // nothing of ours comes first
      insert_line(*at, outermost ? entry_text(key, value)
                                 : indent + scalar_text(key) + ": " + flow_text(value) + "\n");
    }
    for (const YamlNode::Entry& entry : old.entries) {
      if (has(wanted, entry.key->text)) continue;
      const std::size_t key = places_.begin(*entry.key);
      const std::optional<std::size_t> end = end_of_entry(*entry.key, *entry.value, outermost);
      if (!end || !places_.indent(key)) return false;
      edits_.push_back(
          {places_.line_begin(key), *end, outermost ? "" : comments_in(places_.line_begin(key), *end)});
    }
    return true;
  }

  // What was said of a value that goes stays, on lines of its own.
  std::string comments_in(std::size_t from, std::size_t to) const {
    std::string lines;
    for (const std::string& comment : yaml_comments(text_.substr(from, to - from)))
      lines +=
          std::string(places_.indent(text_.find_first_not_of(' ', from)).value_or(0), ' ') + comment + "\n";
    return with_ends(lines);
  }

  std::optional<std::size_t> end_of_entry(const YamlNode& key, const YamlNode& value, bool outermost) const {
    if (outermost) {
      const auto lines = lines_of(key);
      return lines ? std::optional(lines->second) : std::nullopt;
    }
    const std::optional<std::size_t> end = places_.end(value);
    if (!end || places_.begin(value) < places_.begin(key)) return std::nullopt;
    return places_.line_end(*end);
  }

  std::string_view text_;
  YamlPlaces places_;
  const YamlNode& root_;
  std::string eol_;
  bool coarse_ = false;
  std::vector<Edit> edits_;
};

bool reads_as(const std::string& text, const YamlValue& wanted) {
  ErrorList errors("");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree || tree->root->kind != YamlNode::Kind::mapping) return false;
  return says(*tree->root, wanted);
}

bool has_raw(const YamlValue& wanted) {
  return std::any_of(wanted.entries.begin(), wanted.entries.end(),
                     [](const auto& entry) { return entry.value.kind == Kind::raw; });
}

}  // namespace

std::string yaml_edited(std::string_view text, const YamlValue& wanted) {
  const bool marked = text.starts_with(byte_order_mark);
  if (marked) text.remove_prefix(byte_order_mark.size());
  ErrorList errors("");
  if (const std::optional<YamlTree> tree = parse_yaml(text, errors)) {
    Editor editor(text, *tree->root);
    // What a person typed as lines may be wrong, and is told so by who reads the result; with the rest right.
    for (const bool coarse : {false, true})
      if (const std::optional<std::string> edited = editor.edited(wanted, coarse))
        if (reads_as(*edited, wanted) || (coarse && has_raw(wanted)))
          return (marked ? std::string(byte_order_mark) : "") + *edited;
  }
  return file_text(wanted);
}

std::string entry_lines(std::string_view text, const std::string& key) {
  if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
  ErrorList errors("");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree) return {};
  const YamlNode* found = nullptr;
  const YamlNode* const value = entry_of(*tree->root, key, &found);
  if (value == nullptr) return {};
  const YamlPlaces places(text);
  if (!places.is_flow(*tree->root))
    if (const auto lines = Editor(text, *tree->root).lines_of(*found)) {
      std::string own(text.substr(lines->first, lines->second - lines->first));
      own.erase(std::remove(own.begin(), own.end(), '\r'), own.end());
      return own;
    }
  return entry_text(key, value_of(*value));
}

}  // namespace tachproof
