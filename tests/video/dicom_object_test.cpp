// A recording inside a DICOM video object, made with DCMTK, reads like the plain file.
#include "video/dicom_object.h"

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>
#include <dcmtk/dcmdata/dctk.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>

#include "video/error.h"
#include "video/made.h"

using namespace rhumb;
namespace fs = std::filesystem;

namespace {

std::vector<Uint8> bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

// The bytes as the pixel data of a video photographic image, in `fragments` pieces of even length.
void wrap(const std::vector<Uint8>& stream, const fs::path& file, std::size_t fragments) {
  DcmFileFormat format;
  DcmDataset& data = *format.getDataset();
  char uid[100];
  data.putAndInsertString(DCM_SOPClassUID, UID_VideoPhotographicImageStorage);
  data.putAndInsertString(DCM_SOPInstanceUID, dcmGenerateUniqueIdentifier(uid));
  data.putAndInsertString(DCM_PatientName, "INVENTED^NOBODY");
  data.putAndInsertString(DCM_ContentDate, "20260514");
  data.putAndInsertString(DCM_ImageLaterality, "R");
  data.putAndInsertString(DCM_PatientOrientation, "R\\H");
  // A sequence within a sequence, to be passed over.
  DcmItem* region = nullptr;
  data.findOrCreateSequenceItem(DCM_AnatomicRegionSequence, region, -2);
  region->putAndInsertString(DCM_CodeMeaning, "Eye");
  DcmItem* modifier = nullptr;
  region->findOrCreateSequenceItem(DCM_AnatomicRegionModifierSequence, modifier, -2);
  modifier->putAndInsertString(DCM_CodeMeaning, "Right");
  auto* sequence = new DcmPixelSequence(DCM_PixelSequenceTag);
  sequence->insert(new DcmPixelItem(DCM_PixelItemTag));  // the empty table of offsets
  const std::size_t piece = (stream.size() / fragments + 2) & ~std::size_t{1};
  for (std::size_t at = 0; at < stream.size(); at += piece) {
    std::vector<Uint8> part(
        stream.begin() + static_cast<std::ptrdiff_t>(at),
        stream.begin() + static_cast<std::ptrdiff_t>(std::min(stream.size(), at + piece)));
    if (part.size() % 2 != 0) part.push_back(0);
    auto* one = new DcmPixelItem(DCM_PixelItemTag);
    one->putUint8Array(part.data(), part.size());
    sequence->insert(one);
  }
  auto* pixels = new DcmPixelData(DCM_PixelData);
  pixels->putOriginalRepresentation(EXS_MPEG4HighProfileLevel4_1, nullptr, sequence);
  data.insert(pixels, true);
  REQUIRE(format.saveFile(file.c_str(), EXS_MPEG4HighProfileLevel4_1, EET_UndefinedLength).good());
}

}  // namespace

TEST_CASE("a DICOM video object reads like the recording inside it", "[video]") {
  const made::Folder folder;
  const auto plain =
      made::ffmpeg(made::pattern(30) + " -c:v libx264 -pix_fmt yuv420p", folder / "a.mp4");
  const auto expected = made::probed_times(plain);
  for (const std::size_t fragments : {1U, 7U}) {
    const auto file = folder / "a.dcm";
    wrap(bytes_of(plain), file, fragments);
    const auto object = video::read_dicom_object(file);
    REQUIRE(object);
    CHECK(object->laterality == "R");
    CHECK(object->date == "2026-05-14");
    CHECK(object->patient_orientation == "R\\H");
    CHECK(object->stream.size() == fragments);
    const made::Read read = made::read({file}, true), same = made::read({plain}, true);
    REQUIRE(read.times_s.size() == expected.size());
    for (std::size_t i = 0; i < expected.size(); ++i) {
      CHECK(read.times_s[i] == Approx(expected[i]).margin(1e-6));
      CHECK(cv::norm(read.luma[i], same.luma[i], cv::NORM_INF) == 0);
    }
  }
}

TEST_CASE("a plain recording is no DICOM object; a cut or picture-only one is refused", "[video]") {
  const made::Folder folder;
  const auto plain =
      made::ffmpeg(made::pattern(10) + " -c:v libx264 -pix_fmt yuv420p", folder / "a.mp4");
  CHECK_FALSE(video::read_dicom_object(plain));
  const auto file = folder / "a.dcm";
  wrap(bytes_of(plain), file, 1);
  auto bytes = bytes_of(file);
  for (const std::size_t size : {bytes.size() / 2, std::size_t{500}, std::size_t{140}}) {
    std::ofstream(folder / "cut.dcm", std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(size));
    CHECK_THROWS_AS(video::read_dicom_object(folder / "cut.dcm"), video::VideoError);
  }
  DcmFileFormat still;
  still.getDataset()->putAndInsertString(DCM_SOPClassUID, UID_VLPhotographicImageStorage);
  char uid[100];
  still.getDataset()->putAndInsertString(DCM_SOPInstanceUID, dcmGenerateUniqueIdentifier(uid));
  REQUIRE(still.saveFile((folder / "still.dcm").c_str(), EXS_LittleEndianExplicit).good());
  CHECK_THROWS_WITH(video::read_dicom_object(folder / "still.dcm"),
                    Catch::Contains("without a coded video"));
}
