// Photographs from files: EXIF 2.3 orientation (CIPA DC-008), 16 bit TIFF, DICOM.
#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dctk.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>

#include "files/user_error.h"
#include "followup/series.h"
#include "reference/photo_file.h"

using namespace rhumb;
namespace fs = std::filesystem;

namespace {

struct Folder {
  fs::path path = fs::temp_directory_path() / ("rhumb-photo-test-" + std::to_string(getpid()));
  Folder() { fs::create_directories(path); }
  ~Folder() { fs::remove_all(path); }
};

// Left half dark, right half bright; 96 x 64.
cv::Mat halves() {
  cv::Mat out(64, 96, CV_8UC3, cv::Scalar(20, 20, 20));
  out.colRange(48, 96).setTo(cv::Scalar(200, 200, 200));
  return out;
}

// Puts an APP1 segment that holds nothing but the orientation behind the start of a JPEG.
void with_orientation(const fs::path& file, unsigned char orientation) {
  std::vector<unsigned char> jpeg;
  cv::imencode(".jpg", halves(), jpeg);
  const unsigned char app1[] = {0xFF, 0xE1, 0, 34, 'E', 'x',         'i', 'f', 0,    0,    'M', 'M',
                                0,    42,   0, 0,  0,   8,           0,   1,   0x01, 0x12, 0,   3,
                                0,    0,    0, 1,  0,   orientation, 0,   0,   0,    0,    0,   0};
  jpeg.insert(jpeg.begin() + 2, std::begin(app1), std::end(app1));
  std::ofstream(file, std::ios::binary)
      .write(reinterpret_cast<const char*>(jpeg.data()), static_cast<std::streamsize>(jpeg.size()));
}

void write_dicom(const fs::path& file) {
  DcmFileFormat format;
  DcmDataset& data = *format.getDataset();
  char uid[100];
  data.putAndInsertString(DCM_SOPClassUID, UID_OphthalmicPhotography8BitImageStorage);
  data.putAndInsertString(DCM_SOPInstanceUID, dcmGenerateUniqueIdentifier(uid));
  data.putAndInsertString(DCM_PatientName, "INVENTED^NOBODY");
  data.putAndInsertString(DCM_ImageLaterality, "L");
  data.putAndInsertString(DCM_PatientOrientation, "L\\F");
  data.putAndInsertString(DCM_AcquisitionDateTime, "20260515101500");
  data.putAndInsertUint16(DCM_SamplesPerPixel, 3);
  data.putAndInsertString(DCM_PhotometricInterpretation, "RGB");
  data.putAndInsertUint16(DCM_PlanarConfiguration, 0);
  data.putAndInsertUint16(DCM_Rows, 64);
  data.putAndInsertUint16(DCM_Columns, 96);
  data.putAndInsertUint16(DCM_BitsAllocated, 8);
  data.putAndInsertUint16(DCM_BitsStored, 8);
  data.putAndInsertUint16(DCM_HighBit, 7);
  data.putAndInsertUint16(DCM_PixelRepresentation, 0);
  cv::Mat picture = halves();
  picture.at<cv::Vec3b>(5, 5) = {250, 10, 10};  // blue in OpenCV's order
  cv::Mat rgb;
  std::vector<Uint8> bytes;
  for (int y = 0; y < 64; ++y)
    for (int x = 0; x < 96; ++x)
      for (int k = 2; k >= 0; --k) bytes.push_back(picture.at<cv::Vec3b>(y, x)[k]);
  data.putAndInsertUint8Array(DCM_PixelData, bytes.data(), bytes.size());
  REQUIRE(format.saveFile(file.c_str(), EXS_LittleEndianExplicit).good());
}

}  // namespace

TEST_CASE("a JPEG is turned as its EXIF orientation says") {
  const Folder folder;
  with_orientation(folder.path / "as-is.jpg", 1);
  with_orientation(folder.path / "turned.jpg", 6);  // to be turned clockwise by a quarter
  const auto as_is = reference::read_photo(folder.path / "as-is.jpg");
  CHECK(as_is.facts.format == "JPEG");
  CHECK(as_is.luma.size() == cv::Size(96, 64));
  CHECK(as_is.luma.at<unsigned char>(32, 10) < 60);
  const auto turned = reference::read_photo(folder.path / "turned.jpg");
  CHECK(turned.luma.size() == cv::Size(64, 96));
  CHECK(turned.luma.at<unsigned char>(10, 32) < 60);  // what was left is on top
  CHECK(turned.luma.at<unsigned char>(86, 32) > 160);
}

TEST_CASE("a TIFF of 12 bits in 16 keeps its brightness") {
  const Folder folder;
  cv::Mat deep(64, 64, CV_16UC1, cv::Scalar(2048));
  deep.at<unsigned short>(0, 0) = 4095;
  cv::imwrite((folder.path / "deep.tif").string(), deep);
  const auto photo = reference::read_photo(folder.path / "deep.tif");
  CHECK(photo.facts.format == "TIFF");
  CHECK(photo.luma.at<unsigned char>(30, 30) == Approx(128).margin(2));
}

TEST_CASE("a DICOM photograph gives picture, side and date, and nothing of the patient") {
  const Folder folder;
  write_dicom(folder.path / "photo.dcm");
  const auto photo = reference::read_photo(folder.path / "photo.dcm");
  CHECK(photo.facts.format == "DICOM");
  REQUIRE(photo.facts.laterality);
  CHECK(*photo.facts.laterality == 'L');
  CHECK(photo.facts.date == "2026-05-15");
  CHECK(photo.bgr.size() == cv::Size(96, 64));
  CHECK(photo.bgr.at<cv::Vec3b>(5, 5) == cv::Vec3b(250, 10, 10));
}

TEST_CASE("a DICOM photograph that contradicts its series is an error that names the mend") {
  const Folder folder;
  write_dicom(folder.path / "photo.dcm");  // left eye, 2026-05-15
  casefile::Series series;
  series.eye = casefile::Eye::Right;
  series.visits.resize(1);
  series.visits[0].date = "2026-05-15";
  series.visits[0].images = {folder.path / "photo.dcm"};
  CHECK_THROWS_WITH(followup::measure_series(series, {}),
                    Catch::Contains("photo.dcm") && Catch::Contains("laterality"));
  series.eye = casefile::Eye::Left;
  series.visits[0].date = "2026-05-16";
  CHECK_THROWS_WITH(followup::measure_series(series, {}),
                    Catch::Contains("the file says 2026-05-15"));
  series.visits[0].date = "2026-05-15";
  series.visits[0].mirrored = true;  // the file says L\\F
  CHECK_THROWS_WITH(followup::measure_series(series, {}), Catch::Contains("mirrored = false"));
  series.visits[0].mirrored = false;
  CHECK_FALSE(followup::measure_series(series, {}).measured);  // two halves of grey are no eye
}

TEST_CASE("what is no photograph ends in one line that names the file") {
  const Folder folder;
  std::ofstream(folder.path / "text.png") << "not a picture";
  CHECK_THROWS_WITH(reference::read_photo(folder.path / "text.png"),
                    Catch::Contains("text.png") && Catch::Contains("no picture"));
  CHECK_THROWS_AS(reference::read_photo(folder.path / "missing.png"), UserError);
}
