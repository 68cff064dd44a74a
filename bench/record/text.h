// Text and numbers as the reports print them.
//
// Names and messages come from users' files and from devices: nothing of them
// reaches a report without passing through one of these.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/drive.h"

namespace tachproof {

// Each byte that is no UTF-8 is shown as what it is, "\xff". Applied twice, it does no more.
std::string valid_utf8(std::string_view text);
// One line of valid UTF-8. Whatever XML 1.0 forbids, a terminal would obey or turns the direction of
// writing is shown as what it is (core/base/foreign_text.h). Line ends and tabs become blanks.
std::string printable(std::string_view text);
// printable(), fit for HTML and XML, inside elements and in quoted attributes.
std::string escaped(std::string_view text);
// The file name of a channel: printable, without the characters that a CSV
// header cannot bear bare.
std::string csv_name(std::string_view text);

std::size_t code_points(std::string_view utf8);
// At most `most` code points; what is cut off shows as "..".
std::string shortened(std::string_view utf8, std::size_t most);
// Breaks at blanks; a longer word is broken hard. At least one line.
std::vector<std::string> wrapped(std::string_view utf8, std::size_t width);

// "one", "one and two", "one, two and three".
std::string listed_with_and(const std::vector<std::string>& parts);

// Printable, exactly so many code points: cut, or filled with blanks.
std::string padded(std::string_view utf8, std::size_t width);
// Printable lines of at most `columns`, each with its end: the first after `lead`, the others after as
// many blanks.
std::string as_paragraph(const std::string& lead, std::string_view utf8, std::size_t columns);

// Fixed notation; "n/a" for what is not finite. Never "-0.00".
std::string fixed(double value, int decimals);
// The same with a sign in front of everything but zero.
std::string with_sign(double value, int decimals);
// Decimals that show an expanded uncertainty with two significant digits
// (GUM 7.2.6), within 0..4; `otherwise` when it is not known.
int decimals_for(double expanded_uncertainty, int otherwise = 2);

// "60.00 km/h ± 0.31": what the terminal writes with "+-".
std::string speed_words(const Quantity& m_per_s, SpeedUnit unit);
// "gear 2.05, final drive 3.1, tyre circumference 1.98m (1.980 m ± 0.010 a turn)".
std::string drive_words(const Drive& drive);

// "12.345000000": exact, and parse_seconds gives the same instant back.
std::string exact_seconds(Nanos t);
// False when `text` is not a time as exact_seconds writes it.
bool parse_seconds(std::string_view text, Nanos& t);

}  // namespace tachproof
