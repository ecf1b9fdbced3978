// report.html: one file that holds all it shows; only review.mp4 lies beside it.
#pragma once

#include <string>

#include "outcome/outcome.h"
#include "report/page_pictures.h"
#include "report/result_json.h"

namespace rhumb::report {

// stills: one an evidence frame, or none at all. has_video: review.mp4 lies beside the page.
// stills_remark: why there are no stills, empty where there are. A content security policy lets
// only the page's own scripts and styles run and nothing be fetched but the video.
std::string page(const outcome::CaseOutcome& outcome, const StillSet& stills, bool has_video,
                 const std::string& stills_remark = {});

// What the page's scripts work with: the timeline by columns, poses, stretches.
nlohmann::ordered_json page_data(const outcome::CaseOutcome& outcome);

// The values of the page's sections, for its template.
nlohmann::ordered_json page_values(const outcome::CaseOutcome& outcome, const StillSet& stills,
                                   bool has_video, const std::string& stills_remark);

// The marks set by hand and how far their readers agree; null without anchors.
nlohmann::ordered_json by_hand_values(const outcome::CaseOutcome& outcome);

// The refraction section; null without an effect.
nlohmann::ordered_json refraction_section(const std::optional<optics::RefractiveEffect>& effect);

}  // namespace rhumb::report
