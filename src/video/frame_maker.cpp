#include "video/frame_maker.h"

#include <fmt/format.h>

extern "C" {
#include <libavutil/pixdesc.h>
}

#include <algorithm>
#include <utility>

namespace rhumb::video {
namespace {

Matrix matrix_of(const AVFrame& picture) {
  switch (av::number_of(picture.colorspace)) {
    case AVCOL_SPC_BT709:
      return Matrix::Bt709;
    case AVCOL_SPC_BT470BG:
    case AVCOL_SPC_SMPTE170M:
    case AVCOL_SPC_FCC:
      return Matrix::Bt601;
    case AVCOL_SPC_BT2020_NCL:
    case AVCOL_SPC_BT2020_CL:
      return Matrix::Bt2020;
    default:  // unstated: standard definition has BT.601, high definition BT.709 (common practice,
              // no source)
      return picture.height < 720 ? Matrix::Bt601 : Matrix::Bt709;
  }
}

bool is_full_range(const AVFrame& picture) {
  switch (picture.format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
    case AV_PIX_FMT_YUVJ411P:
      return true;
    default:
      return av::number_of(picture.color_range) == AVCOL_RANGE_JPEG;
  }
}

void learn_format(const AVFrame& first, StreamFacts& facts) {
  const AVPixFmtDescriptor* about = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(first.format));
  facts.pixel_format = about != nullptr ? about->name : "unknown";
  facts.bit_depth = about != nullptr ? about->comp[0].depth : 8;
  const bool converts = PlaneMaker::converts_colour(first.format);
  facts.full_range = !converts && is_full_range(first);
  facts.matrix = converts ? Matrix::Bt709 : matrix_of(first);
  if (converts) {
    add_note(facts, fmt::format("{} pictures were converted to BT.709 luma and colour differences",
                                facts.pixel_format));
  }
  if (facts.bit_depth > 8) {
    add_note(facts, fmt::format("{} bit samples were rounded to 8 bit", facts.bit_depth));
  }
  const int transfer = av::number_of(first.color_trc);
  if (transfer == AVCOL_TRC_SMPTE2084 || transfer == AVCOL_TRC_ARIB_STD_B67) {
    add_note(facts, "the recording has a high dynamic range transfer curve; it was read as it is");
  }
}

void keep_first_field(cv::Mat& plane, bool top_first) {
  cv::Mat whole = plane.clone();
  for (int y = top_first ? 1 : 0; y < whole.rows; y += 2) {
    const std::uint8_t* above = whole.ptr<std::uint8_t>(y > 0 ? y - 1 : y + 1);
    const std::uint8_t* below = whole.ptr<std::uint8_t>(y + 1 < whole.rows ? y + 1 : y - 1);
    std::uint8_t* out = whole.ptr<std::uint8_t>(y);
    for (int x = 0; x < whole.cols; ++x) {
      out[x] = static_cast<std::uint8_t>((above[x] + below[x] + 1) / 2);
    }
  }
  plane = whole;
}

}  // namespace

void add_note(StreamFacts& facts, const std::string& text) {
  if (std::find(facts.notes.begin(), facts.notes.end(), text) == facts.notes.end()) {
    facts.notes.push_back(text);
  }
}

FrameMaker::FrameMaker(const Part& part, const AVFrame& first, bool honour_rotation,
                       StreamFacts& facts)
    : size_(square_size(first, part.stream())) {
  if (size_.width != first.width) {
    add_note(facts, fmt::format("pixels are not square: {} x {} was resampled to {} x {}",
                                first.width, first.height, size_.width, size_.height));
  }
  if (honour_rotation) {
    lay_ = lay_of(part.stream(), first);
  }
  if (!lay_.is_exact) {
    add_note(facts, "the display rotation is no quarter turn and was rounded to one");
  }
  const bool on_side = lay_.quarter_turns % 2 != 0;
  facts.width = on_side ? size_.height : size_.width;
  facts.height = on_side ? size_.width : size_.height;
  facts.rotation_deg = 90 * lay_.quarter_turns;
  facts.flipped = lay_.flipped;
  facts.container = part.container();
  facts.codec = part.codec();
  learn_format(first, facts);
}

Frame FrameMaker::finish(Planes planes) const {
  make_upright(planes, size_, lay_);
  Frame frame;
  frame.luma = std::move(planes.luma);
  frame.cb = std::move(planes.cb);
  frame.cr = std::move(planes.cr);
  frame.owner = std::move(planes.owner);
  return frame;
}

Frame FrameMaker::make(const Part& part, av::FramePtr picture, StreamFacts& facts) {
  if (square_size(*picture, part.stream()) != size_) {
    add_note(facts,
             "the picture size changes within the recording; all pictures were brought to the "
             "first size");
  }
  return finish(planes_.make(std::move(picture)));
}

Frame FrameMaker::make_alone(const Part& part, av::FramePtr picture, StreamFacts& facts) {
  if (picture->interlaced_frame == 0 || picture->height < 4) {
    return make(part, std::move(picture), facts);
  }
  const bool top_first = picture->top_field_first != 0;
  Planes planes = planes_.make(std::move(picture));
  for (cv::Mat* plane : {&planes.luma, &planes.cb, &planes.cr}) {
    if (plane->rows >= 2) {
      keep_first_field(*plane, top_first);
    }
  }
  return finish(std::move(planes));
}

}  // namespace rhumb::video
