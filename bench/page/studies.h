// Studies: long work whose outcome has an address of its own, as a page has. Who asks first starts it; who
// asks again sees how far it is, then what came of it, as long as all that it was asked of is the same.
#pragma once

#include <functional>
#include <string>

#include "bench/page/errands.h"
#include "bench/page/request.h"

namespace tachproof {

struct StudyPage {
  std::string key;           // with the sums of the files that it reads: another text is another study
  std::string address;       // of its page, with the query
  std::string place, title;  // of its page
  std::string above;         // HTML that stands on its page while it goes on, and where nothing came of it
};

// `does`: see Errands::start; it is done quietly. `shown`: the page of what it gave. A study that is over in
// a moment is shown at once. 422 where nothing came of it, 503 where too many others go on.
Response study(Errands& errands, const Request& request, const StudyPage& page,
               std::function<std::string(Errand&)> does,
               const std::function<Response(const std::string&)>& shown);

// The same work, which gives way to everything else on this computer, above all to runs.
std::function<std::string(Errand&)> quietly(std::function<std::string(Errand&)> does);
// 503: too many errands go on.
Response busy_with_others();

// Throws where the errand must stop, with a sentence: for what is called again and again within a study.
void stop_where_asked(const Errand& errand);

}  // namespace tachproof
