#include <algorithm>
#include <numeric>

#include "casefile/checked_table.h"

namespace rhumb::casefile {
namespace {

// Edit distance with neighbouring swaps (optimal string alignment), row by row.
std::size_t edits(const std::string& a, const std::string& b) {
  std::vector<std::size_t> before(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(last.begin(), last.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = last[j - 1] + (a[i - 1] == b[j - 1] ? 0U : 1U);
      row[j] = std::min({change, last[j] + 1, row[j - 1] + 1});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) row[j] = std::min(row[j], before[j - 2] + 1);
    }
    std::swap(before, last);
    std::swap(last, row);
  }
  return last[b.size()];
}

}  // namespace

std::string nearest(const std::string& word, const std::vector<std::string>& known) {
  constexpr std::size_t longest = 64;  // nobody mistypes more
  if (word.size() > longest) return {};
  std::string best;
  std::size_t least = std::max<std::size_t>(2, word.size() / 3) + 1;
  for (const std::string& candidate : known) {
    const std::size_t distance = edits(word, candidate);
    if (distance >= least || distance >= candidate.size()) continue;
    least = distance;
    best = candidate;
  }
  return best;
}

}  // namespace rhumb::casefile
