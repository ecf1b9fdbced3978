#include "cli/run_record.h"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavfilter/avfilter.h>
#include <libavformat/avformat.h>
#include <libavutil/avutil.h>
}
#include <fmt/core.h>

#include <opencv2/core/utility.hpp>

#include "cli/commit.h"
#include "video/digest.h"

namespace rhumb::cli {
namespace {

std::string av_version(unsigned version) {
  return fmt::format("{}.{}.{}", AV_VERSION_MAJOR(version), AV_VERSION_MINOR(version),
                     AV_VERSION_MICRO(version));
}

}  // namespace

std::string built_commit() { return RHUMB_COMMIT; }

NamedTexts library_versions() {
  return {{"opencv", cv::getVersionString()},
          {"libavcodec", av_version(avcodec_version())},
          {"libavfilter", av_version(avfilter_version())},
          {"libavformat", av_version(avformat_version())},
          {"libavutil", av_version(avutil_version())}};
}

InputHashes hash_inputs(const casefile::Case& stated, const std::stop_token& cancel) {
  InputHashes hashes;
  hashes.case_file = video::sha256_of_file(stated.file, cancel);
  for (const auto& part : stated.video.files)
    hashes.inputs.push_back(video::sha256_of_file(part, cancel));
  for (const casefile::Reference& reference : stated.references)
    if (reference.kind == casefile::ReferenceKind::Photo)
      hashes.inputs.push_back(video::sha256_of_file(reference.photo, cancel));
  return hashes;
}

}  // namespace rhumb::cli
