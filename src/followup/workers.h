// Independent tasks on several threads.
#pragma once

#include <functional>
#include <stop_token>

namespace rhumb::followup {

// Calls work(0) .. work(count - 1), in no order. The first exception that one of them throws is
// thrown again once all threads have ended; Interrupted where `cancel` was asked for.
void for_all(int count, int threads, const std::stop_token& cancel,
             const std::function<void(int)>& work);

// for_all with its threads and its stop bound.
using ForAll = std::function<void(int count, const std::function<void(int)>& work)>;

}  // namespace rhumb::followup
