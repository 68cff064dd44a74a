// What a browser sends and what a gauge file says, on any bytes: the parts of a form lie within it, and a
// sound gauge file behind a form stays as it is until a value changes, and then says that value.
#include "bench/files/readers.h"
#include "bench/files/yaml_edit.h"
#include "bench/page/gauge_form.h"
#include "bench/page/multipart.h"
#include "tests/fuzz/fuzz.h"

namespace {

using tachproof::fuzz::require;

void parts(std::string_view text) {
  const auto read = tachproof::parts_of_form("multipart/form-data; boundary=x", text, 8);
  const auto* parts = std::get_if<std::vector<tachproof::FormPart>>(&read);
  if (parts == nullptr) return;
  require(parts->size() <= 8);
  for (const tachproof::FormPart& part : *parts)
    require(part.body.empty() || (part.body.data() >= text.data() &&
                                  part.body.data() + part.body.size() <= text.data() + text.size()));
}

void gauge(std::string_view text) {
  const tachproof::CheckedFile checked = tachproof::check_text("/nowhere/fuzz.yaml", text);
  if (checked.kind != "gauge" || !checked.errors.empty() || !tachproof::is_whole(text)) return;
  tachproof::GaugeForm form = tachproof::form_of_text(text);
  form.name = "Another: name";
  form.tolerance_rpm = "7";
  require(tachproof::form_of_text(tachproof::yaml_edited(text, tachproof::values_of(form))) == form);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text = tachproof::fuzz::text_of(data, size);
  parts(text);
  gauge(text);
  return 0;
}
