#include "bench/reports/page.h"

#include <fmt/format.h>

#include "bench/record/text.h"
#include "bench/reports/style.h"

namespace tachproof {

std::string html_page(std::string_view title, std::string_view style, std::string_view body) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
      "'unsafe-inline'\">\n"
      "<title>{}</title>\n<style>{}{}</style>\n</head>\n<body>\n<main>\n{}</main>\n</body>\n</html>\n",
      escaped(title), report_style, style, body);
}

std::string simulated_banner() {
  return simulated_banner("The built-in unit was judged: this says nothing of a real one.");
}

std::string simulated_banner(std::string_view sentence) {
  return fmt::format("<p class=\"simulated\"><b>SIMULATED</b> {}</p>\n", sentence);
}

std::string simulated_style() {
  return "@page { @top-center { content: \"SIMULATED unit: no evidence of a real one\"; font: bold 9pt "
         "sans-serif; } }\n";
}

}  // namespace tachproof
