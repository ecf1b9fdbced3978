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
    j.at("group").get_to(s.group);
    j.at("unit").get_to(s.unit);
    j.at("level").get_to(s.level);
    j.at("seed").get_to(s.seed);
    j.at("frames").get_to(s.frames);
    j.at("readable").get_to(s.readable);
    j.at("given").get_to(s.given);
    j.at("errors_deg").get_to(s.errors_deg);
    j.at("confidence").get_to(s.confidence);
    j.at("within_1").get_to(s.within_1);
    j.at("rotation_errors_deg").get_to(s.rotation_errors_deg);
    j.at("intervals").get_to(s.intervals);
    j.at("covered").get_to(s.covered);
    j.at("sure_wrong").get_to(s.sure_wrong);
    j.at("no_lens").get_to(s.no_lens);
    j.at("half_width_deg").get_to(s.half_width_deg);
    j.at("final_given").get_to(s.final_given);
    j.at("final_measurable").get_to(s.final_measurable);
    j.at("final_error_deg").get_to(s.final_error_deg);
    j.at("final_covered").get_to(s.final_covered);
    j.at("seconds").get_to(s.seconds);
    return s;
  } catch (const Json::exception&) {
    return std::nullopt;
  }
}

void write_clip(const std::filesystem::path& file, const std::string& key, const ClipScore& s) {
  const Json j = {{"key", key},
                  {"clip", s.clip},
                  {"group", s.group},
                  {"unit", s.unit},
                  {"level", s.level},
                  {"seed", s.seed},
                  {"frames", s.frames},
                  {"readable", s.readable},
                  {"given", s.given},
                  {"errors_deg", s.errors_deg},
                  {"confidence", s.confidence},
                  {"within_1", s.within_1},
                  {"rotation_errors_deg", s.rotation_errors_deg},
                  {"intervals", s.intervals},
                  {"covered", s.covered},
                  {"sure_wrong", s.sure_wrong},
                  {"no_lens", s.no_lens},
                  {"half_width_deg", s.half_width_deg},
                  {"final_given", s.final_given},
                  {"final_measurable", s.final_measurable},
                  {"final_error_deg", s.final_error_deg},
                  {"final_covered", s.final_covered},
                  {"seconds", s.seconds}};
  files::write_whole(file, j.dump() + "\n");
}

}  // namespace rhumb::validate
