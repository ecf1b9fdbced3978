#include "validate/clip_file.h"

#include <fstream>
#include <nlohmann/json.hpp>

#include "files/partial_file.h"

namespace rhumb::validate {

using Json = nlohmann::ordered_json;

std::optional<ClipScore> read_clip(const std::filesystem::path& file, const std::string& key) {
  std::ifstream in(file);
  if (!in) return std::nullopt;
  const Json j = Json::parse(in, nullptr, false);
  if (j.is_discarded() || !j.is_object() || j.value("key", "") != key) return std::nullopt;
  try {
    ClipScore s;
    j.at("clip").get_to(s.clip);
    for (const Json& c : j.at("conditions"))
      s.conditions.push_back({c.at("group"), c.at("level"), c.at("label"), c.at("usual")});
    j.at("seed").get_to(s.seed);
    j.at("frames").get_to(s.frames);
    j.at("readable").get_to(s.readable);
    j.at("given").get_to(s.given);
    j.at("errors_deg").get_to(s.errors_deg);
    j.at("confidence").get_to(s.confidence);
    j.at("within_1").get_to(s.within_1);
    j.at("place").get_to(s.place);
    j.at("rotation_errors_deg").get_to(s.rotation_errors_deg);
    j.at("intervals").get_to(s.intervals);
    j.at("covered").get_to(s.covered);
    j.at("covered_half").get_to(s.covered_half);
    j.at("sure_wrong").get_to(s.sure_wrong);
    j.at("no_lens").get_to(s.no_lens);
    j.at("half_width_deg").get_to(s.half_width_deg);
    j.at("final_given").get_to(s.final_given);
    j.at("final_measurable").get_to(s.final_measurable);
    j.at("final_false").get_to(s.final_false);
    if (!j.at("final_error_deg").is_null())
      s.final_error_deg = j.at("final_error_deg").get<double>();
    j.at("final_covered").get_to(s.final_covered);
    j.at("seconds").get_to(s.seconds);
    j.at("worst_frame").get_to(s.worst_frame);
    j.at("worst_error_deg").get_to(s.worst_error_deg);
    if (!j.at("worst_axis_deg").is_null()) s.worst_axis_deg = j.at("worst_axis_deg").get<double>();
    j.at("why_not").get_to(s.why_not);
    j.at("why_not_frames").get_to(s.why_not_frames);
    return s;
  } catch (const Json::exception&) {
    return std::nullopt;
  }
}

void write_clip(const std::filesystem::path& file, const std::string& key, const ClipScore& s) {
  Json conditions = Json::array();
  for (const Condition& c : s.conditions)
    conditions.push_back(
        {{"group", c.group}, {"level", c.level}, {"label", c.label}, {"usual", c.usual}});
  const auto maybe = [](const std::optional<double>& v) { return v ? Json(*v) : Json(); };
  const Json j = {{"key", key},
                  {"clip", s.clip},
                  {"conditions", conditions},
                  {"seed", s.seed},
                  {"frames", s.frames},
                  {"readable", s.readable},
                  {"given", s.given},
                  {"errors_deg", s.errors_deg},
                  {"confidence", s.confidence},
                  {"within_1", s.within_1},
                  {"place", s.place},
                  {"rotation_errors_deg", s.rotation_errors_deg},
                  {"intervals", s.intervals},
                  {"covered", s.covered},
                  {"covered_half", s.covered_half},
                  {"sure_wrong", s.sure_wrong},
                  {"no_lens", s.no_lens},
                  {"half_width_deg", s.half_width_deg},
                  {"final_given", s.final_given},
                  {"final_measurable", s.final_measurable},
                  {"final_false", s.final_false},
                  {"final_error_deg", maybe(s.final_error_deg)},
                  {"final_covered", s.final_covered},
                  {"worst_frame", s.worst_frame},
                  {"worst_error_deg", s.worst_error_deg},
                  {"worst_axis_deg", maybe(s.worst_axis_deg)},
                  {"why_not", s.why_not},
                  {"why_not_frames", s.why_not_frames},
                  {"seconds", s.seconds}};
  files::write_whole(file, j.dump() + "\n");
}

}  // namespace rhumb::validate
