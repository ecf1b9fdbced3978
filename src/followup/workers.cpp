#include "followup/workers.h"

#include <algorithm>

#include "analyze/parallel.h"
#include "files/user_error.h"

namespace rhumb::followup {

void for_all(int count, int threads, const std::stop_token& cancel,
             const std::function<void(int)>& work) {
  analyze::for_each_index(static_cast<std::size_t>(std::max(0, count)), std::min(threads, count),
                          [&](std::size_t i) {
                            if (cancel.stop_requested()) throw Interrupted();
                            work(static_cast<int>(i));
                          });
  if (cancel.stop_requested()) throw Interrupted();
}

}  // namespace rhumb::followup
