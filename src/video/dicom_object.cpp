#include "video/dicom_object.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <fstream>

#include "video/error.h"

namespace rhumb::video {
namespace {

constexpr std::uint32_t undefined_length = 0xFFFFFFFFU;
constexpr std::uint32_t item = 0xFFFEE000U, item_end = 0xFFFEE00DU, sequence_end = 0xFFFEE0DDU;
constexpr std::uint32_t pixel_data = 0x7FE00010U;
constexpr int deepest = 32;  // nested sequences; anything deeper is a broken file

struct Element {
  std::uint32_t tag = 0;
  std::array<char, 2> kind{};  // value representation; zeros where the file has none
  std::uint32_t length = 0;
  bool is(const char* name) const { return kind[0] == name[0] && kind[1] == name[1]; }
};

// Reads elements one after the other; every step checks that it stays inside the file.
class Elements {
 public:
  explicit Elements(const std::filesystem::path& file) : file_(file), in_(file, std::ios::binary) {
    std::error_code wrong;
    size_ = static_cast<std::int64_t>(std::filesystem::file_size(file, wrong));
    if (wrong) size_ = 0;
  }

  bool is_dicom() {
    std::array<char, 132> head{};
    if (!in_.read(head.data(), head.size())) return false;
    return std::memcmp(head.data() + 128, "DICM", 4) == 0;
  }

  std::int64_t at() { return static_cast<std::int64_t>(in_.tellg()); }
  bool at_end() { return at() >= size_; }

  Element next(bool explicit_kind) {
    Element e;
    const std::uint32_t group = number(2), member = number(2);
    e.tag = group << 16U | member;
    if (group == 0xFFFEU || !explicit_kind) {
      e.length = number(4);
      return e;
    }
    if (!in_.read(e.kind.data(), 2)) damaged();
    static constexpr const char* wide[] = {"OB", "OD", "OF", "OL", "OV", "OW", "SQ",
                                           "SV", "UC", "UN", "UR", "UT", "UV"};
    if (std::any_of(std::begin(wide), std::end(wide), [&](const char* k) { return e.is(k); })) {
      number(2);
      e.length = number(4);
    } else {
      e.length = number(2);
    }
    return e;
  }

  void skip(std::uint32_t length) {
    if (length > static_cast<std::uint64_t>(size_ - std::min(size_, at()))) damaged();
    in_.seekg(length, std::ios::cur);
  }

  std::string text(const Element& e) {
    constexpr std::uint32_t longest = 1024;
    if (e.length > longest) {
      skip(e.length);
      return {};
    }
    std::string value(e.length, '\0');
    if (!in_.read(value.data(), e.length)) damaged();
    while (!value.empty() && (value.back() == ' ' || value.back() == '\0')) value.pop_back();
    return value;
  }

  // Passes over a sequence of undefined length, of which items may be of undefined length too.
  void skip_sequence(bool explicit_kind, int depth = 0) {
    if (depth > deepest) damaged();
    for (;;) {
      const Element head = next(explicit_kind);
      if (head.tag == sequence_end) return;
      if (head.tag != item) damaged();
      if (head.length != undefined_length) {
        skip(head.length);
        continue;
      }
      for (;;) {
        const Element e = next(explicit_kind);
        if (e.tag == item_end) break;
        skip_value(e, explicit_kind, depth + 1);
      }
    }
  }

  // A value of undefined length is a sequence; one of unknown kind has elements without kinds
  // (PS3.5, 6.2.2).
  void skip_value(const Element& e, bool explicit_kind, int depth = 0) {
    if (e.length == undefined_length) {
      skip_sequence(explicit_kind && !e.is("UN"), depth);
    } else {
      skip(e.length);
    }
  }

  [[noreturn]] void damaged() {
    throw VideoError(file_, "", "is a damaged DICOM file", "export it again");
  }

 private:
  std::uint32_t number(int bytes) {
    std::array<unsigned char, 4> raw{};
    if (!in_.read(reinterpret_cast<char*>(raw.data()), bytes)) damaged();
    return raw[0] | static_cast<std::uint32_t>(raw[1]) << 8U |
           static_cast<std::uint32_t>(raw[2]) << 16U | static_cast<std::uint32_t>(raw[3]) << 24U;
  }

  std::filesystem::path file_;
  std::ifstream in_;
  std::int64_t size_ = 0;
};

// MPEG-2 (…4.100, .101), MPEG-4 AVC (.102 to .106), HEVC (.107, .108), with their fragmentable
// forms (….1): PS3.6, table A-1.
bool is_video(const std::string& transfer_syntax) {
  static const std::string start = "1.2.840.10008.1.2.4.10";
  return transfer_syntax.size() > start.size() &&
         transfer_syntax.compare(0, start.size(), start) == 0 &&
         transfer_syntax[start.size()] >= '0' && transfer_syntax[start.size()] <= '8';
}

std::string transfer_syntax_of(Elements& elements, std::int64_t& end) {
  std::string syntax;
  for (;;) {
    const std::int64_t here = elements.at();
    if (elements.at_end()) elements.damaged();
    const Element e = elements.next(true);
    if (e.tag >> 16U != 2) {
      end = here;
      return syntax;
    }
    if (e.tag == 0x00020010U) {
      syntax = elements.text(e);
    } else {
      elements.skip_value(e, true);
    }
  }
}

std::vector<DicomObject::Range> pieces(Elements& elements) {
  std::vector<DicomObject::Range> out;
  bool offsets_passed = false;  // the first item is a table of offsets
  while (!elements.at_end()) {
    const Element e = elements.next(true);
    if (e.tag == sequence_end) break;
    if (e.tag != item || e.length == undefined_length) elements.damaged();
    if (offsets_passed && e.length > 0) out.push_back({elements.at(), e.length});
    offsets_passed = true;
    elements.skip(e.length);
  }
  return out;
}

void take_date(std::string& into, const std::string& text) {
  if (!into.empty() || text.size() < 8) return;
  into = text.substr(0, 4) + "-" + text.substr(4, 2) + "-" + text.substr(6, 2);
}

}  // namespace

std::optional<DicomObject> read_dicom_object(const std::filesystem::path& file) {
  Elements elements(file);
  if (!elements.is_dicom()) return std::nullopt;
  std::int64_t begin = 0;
  const std::string syntax = transfer_syntax_of(elements, begin);
  if (!is_video(syntax))
    throw VideoError(file, "",
                     "is a DICOM file without a coded video (transfer syntax " + syntax + ")",
                     "export the recording as MPEG-4, in DICOM or as a plain file");
  DicomObject out;
  std::string acquired_at, acquired, content, of_series;
  // The first element behind the file's own part was read to know that it is one.
  Elements data(file);
  data.is_dicom();
  data.skip(static_cast<std::uint32_t>(begin - data.at()));
  while (!data.at_end()) {
    const Element e = data.next(true);
    switch (e.tag) {
      case 0x0008002AU:
        acquired_at = data.text(e);
        break;
      case 0x00080022U:
        acquired = data.text(e);
        break;
      case 0x00080023U:
        content = data.text(e);
        break;
      case 0x00200062U:
        out.laterality = data.text(e);
        break;
      case 0x00200060U:
        of_series = data.text(e);
        break;
      case 0x00200020U:
        out.patient_orientation = data.text(e);
        break;
      case pixel_data:
        if (e.length != undefined_length) data.damaged();
        out.stream = pieces(data);
        if (out.stream.empty()) data.damaged();
        if (out.laterality.empty()) out.laterality = of_series;
        take_date(out.date, acquired_at);
        take_date(out.date, acquired);
        take_date(out.date, content);
        return out;
      default:
        data.skip_value(e, true);
    }
  }
  throw VideoError(file, "", "is a DICOM file without pictures", "name the object with the video");
}

}  // namespace rhumb::video
