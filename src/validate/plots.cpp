#include "validate/plots.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace rhumb::validate {
namespace {

constexpr double left = 48;
constexpr double right_margin = 48;
constexpr double top = 22;
constexpr double bottom = 160;

// One plot's frame: columns for the levels, their names and numbers of clips below.
struct Frame {
  double width;
  double height;
  double step;
  bool slanted;

  explicit Frame(const std::vector<const Tally*>& levels) {
    const auto count = static_cast<double>(levels.size());
    width = left + right_margin + std::max(330.0, 58.0 * count);
    step = (width - left - right_margin) / count;
    slanted = std::any_of(levels.begin(), levels.end(), [&](const Tally* t) {
      return 6.5 * static_cast<double>(t->condition.label.size()) > step;
    });
    height = slanted ? 270 : 200;
  }
  double x(std::size_t i) const { return left + step * (static_cast<double>(i) + 0.5); }
};

std::string open_svg(double width, double height) {
  return fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:.0f} {1:.0f}\" "
      "width=\"{0:.0f}\" height=\"{1:.0f}\" role=\"img\" font-family=\"system-ui, sans-serif\" "
      "font-size=\"11\" fill=\"#334\">"
      "<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>",
      width, height);
}

std::string text(double x, double y, const char* anchor, const std::string& words) {
  return fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>", x, y, anchor,
                     words);
}

std::string line(double x1, double y1, double x2, double y2, const char* look) {
  return fmt::format("<line x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\" {}/>", x1, y1,
                     x2, y2, look);
}

std::string dot(double x, double y, const char* fill) {
  return fmt::format("<circle cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"3.5\" fill=\"{}\"/>", x, y, fill);
}

constexpr const char* grid = "stroke=\"#d9dde3\"";
constexpr const char* brown = "#8a3b12";
constexpr const char* slate = "#33566b";

std::string names_below(const Frame& frame, const std::vector<const Tally*>& levels) {
  std::string s;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const std::string name = fmt::format("{} ({})", levels[i]->condition.label, levels[i]->clips);
    s += frame.slanted ? fmt::format(
                             "<text x=\"{0:.1f}\" y=\"{1:.1f}\" text-anchor=\"end\" "
                             "transform=\"rotate(-38 {0:.1f} {1:.1f})\">{2}</text>",
                             frame.x(i) + 4, bottom + 14, name)
                       : text(frame.x(i), bottom + 16, "middle", name);
  }
  return s + text(frame.width - 6, frame.height - 8, "end", "in brackets: clips");
}

}  // namespace

std::string error_plot(const std::vector<const Tally*>& levels) {
  const Frame frame(levels);
  double most = 0.5;
  for (const Tally* t : levels)
    if (t->given > 0) most = std::max(most, t->error_p95_deg);
  const auto y_of = [&](double deg) { return bottom - (bottom - top) * deg / most; };
  std::string s = open_svg(frame.width, frame.height);
  s += text(4, 12, "start", "error, deg") + text(frame.width - 4, 12, "end", "frames with an axis");
  for (const double part : {0.0, 0.5, 1.0}) {
    const double y = y_of(part * most);
    s += line(left, y, frame.width - right_margin, y, grid) +
         text(left - 5, y + 4, "end", fmt::format("{:.2g}", part * most)) +
         text(frame.width - right_margin + 5, y + 4, "start", fmt::format("{:.0f} %", 100 * part));
  }
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const Tally& t = *levels[i];
    const double x = frame.x(i);
    const double bar = (bottom - top) * t.given_share;
    s += fmt::format(
        "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"#c9d6de\"/>",
        x - 0.3 * frame.step, bottom - bar, 0.6 * frame.step, bar);
    if (t.given == 0) continue;
    s += line(x, y_of(t.error_median_deg), x, y_of(t.error_p95_deg),
              "stroke=\"#8a3b12\" stroke-width=\"1.5\"") +
         dot(x, y_of(t.error_median_deg), brown);
  }
  return s + names_below(frame, levels) + "</svg>";
}

std::string coverage_plot(const std::vector<const Tally*>& levels) {
  const Frame frame(levels);
  const auto y_of = [&](double share) { return bottom - (bottom - top) * share; };
  std::string s = open_svg(frame.width, frame.height);
  s += text(4, 12, "start", "intervals that hold the truth");
  for (const double part : {0.0, 0.25, 0.5, 0.75, 1.0})
    s += line(left, y_of(part), frame.width - right_margin, y_of(part), grid) +
         text(left - 5, y_of(part) + 4, "end", fmt::format("{:.0f} %", 100 * part));
  s += line(left, y_of(0.95), frame.width - right_margin, y_of(0.95),
            "stroke=\"#8a3b12\" stroke-dasharray=\"4 3\"") +
       line(left, y_of(0.5), frame.width - right_margin, y_of(0.5),
            "stroke=\"#33566b\" stroke-dasharray=\"4 3\"") +
       text(frame.width - right_margin + 5, y_of(0.95) + 4, "start", "95 %") +
       text(frame.width - right_margin + 5, y_of(0.5) + 4, "start", "50 %");
  for (std::size_t i = 0; i < levels.size(); ++i) {
    if (levels[i]->intervals == 0) continue;
    s += dot(frame.x(i), y_of(levels[i]->coverage), brown) +
         dot(frame.x(i), y_of(levels[i]->coverage_half), slate);
  }
  return s + names_below(frame, levels) + "</svg>";
}

std::string reliability_plot(const std::vector<CalibrationBin>& bins) {
  constexpr double size = 300;
  constexpr double low = top + size;
  const auto x_of = [](double v) { return left + size * v; };
  const auto y_of = [](double v) { return low - size * v; };
  std::string s = open_svg(left + size + 96, low + 44);
  s += text(4, 12, "start", "truly within 1 degree");
  for (const double part : {0.0, 0.2, 0.4, 0.6, 0.8, 1.0})
    s += line(x_of(0), y_of(part), x_of(1), y_of(part), grid) +
         line(x_of(part), y_of(0), x_of(part), y_of(1), grid) +
         text(left - 5, y_of(part) + 4, "end", fmt::format("{:.1f}", part)) +
         text(x_of(part), low + 15, "middle", fmt::format("{:.1f}", part));
  s += line(x_of(0), y_of(0), x_of(1), y_of(1), "stroke=\"#7a8494\" stroke-dasharray=\"4 3\"") +
       text(x_of(0.5), low + 34, "middle", "stated confidence");
  std::string path;
  for (const CalibrationBin& b : bins) {
    path += fmt::format("{:.1f},{:.1f} ", x_of(b.stated), y_of(b.was));
    s += dot(x_of(b.stated), y_of(b.was), brown) +
         text(x_of(b.stated) + 6, y_of(b.was) + 12, "start", std::to_string(b.count));
  }
  return s + "<polyline fill=\"none\" stroke=\"#8a3b12\" stroke-width=\"1.5\" points=\"" + path +
         "\"/></svg>";
}

}  // namespace rhumb::validate
