#include "reference/dicom_photo.h"

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dcrledrg.h>
#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmimage/diregist.h>
#include <dcmtk/dcmimgle/dcmimage.h>
#include <dcmtk/dcmjpeg/djdecode.h>
#include <dcmtk/dcmjpls/djdecode.h>
#include <dcmtk/oflog/oflog.h>

#include <mutex>
#include <opencv2/imgproc.hpp>

#include "files/user_error.h"
#include "reference/jpeg_fragments.h"
#include "reference/photo_file.h"

namespace rhumb::reference {
namespace {

// DCMTK keeps its decoders in a global list, which is filled once, and has a log of its own, which
// would stand between our lines.
void register_decoders() {
  static std::once_flag once;
  std::call_once(once, [] {
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);
    DJDecoderRegistration::registerCodecs();
    DJLSDecoderRegistration::registerCodecs();
    DcmRLEDecoderRegistration::registerCodecs();
  });
}

std::string text_of(DcmDataset& data, const DcmTagKey& tag) {
  OFString value;
  if (data.findAndGetOFStringArray(tag, value).bad()) return {};
  return {value.c_str(), value.length()};
}

}  // namespace

cv::Mat read_dicom_photo(const std::filesystem::path& file, PhotoFacts& facts) {
  register_decoders();
  DcmFileFormat format;
  if (format.loadFile(file.c_str()).bad())
    throw UserError(file.string(), "", "is a damaged DICOM file", "export it again");
  DcmDataset& data = *format.getDataset();
  const std::string frames = text_of(data, DCM_NumberOfFrames);
  if (!frames.empty() && frames != "1")
    throw UserError(file.string(), "", "is a moving picture",
                    "name a photograph, or use it as video.file of a case");
  std::string side = text_of(data, DCM_ImageLaterality);
  if (side.empty()) side = text_of(data, DCM_Laterality);
  if (side == "R" || side == "L") facts.laterality = side[0];
  std::string day = text_of(data, DCM_AcquisitionDateTime).substr(0, 8);
  if (day.size() < 8) day = text_of(data, DCM_AcquisitionDate);
  if (day.size() < 8) day = text_of(data, DCM_ContentDate);
  if (day.size() == 8)
    facts.date = day.substr(0, 4) + "-" + day.substr(4, 2) + "-" + day.substr(6, 2);
  facts.patient_orientation = text_of(data, DCM_PatientOrientation);
  Uint16 rows = 0, columns = 0;
  data.findAndGetUint16(DCM_Rows, rows);
  data.findAndGetUint16(DCM_Columns, columns);
  refuse_large(columns, rows, file);
  if (any_fragment_stops_at_tem(data))
    throw UserError(file.string(), "", "holds a picture whose coding is damaged",
                    "export it as JPEG or PNG");
  DicomImage image(&data, data.getOriginalXfer(), CIF_UsePartialAccessToPixelData);
  if (image.getStatus() != EIS_Normal)
    throw UserError(file.string(), "", "holds no picture that can be decoded",
                    "export it as JPEG or PNG");
  const int width = static_cast<int>(image.getWidth()),
            height = static_cast<int>(image.getHeight());
  if (image.isMonochrome()) {
    image.setMinMaxWindow();
    cv::Mat grey(height, width, CV_8UC1);
    if (!image.getOutputData(grey.data, grey.total(), 8))
      throw UserError(file.string(), "", "holds no picture that can be decoded",
                      "export it as JPEG or PNG");
    return grey;
  }
  cv::Mat rgb(height, width, CV_8UC3), bgr;
  if (!image.getOutputData(rgb.data, rgb.total() * 3, 8))
    throw UserError(file.string(), "", "holds no picture that can be decoded",
                    "export it as JPEG or PNG");
  cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
  return bgr;
}

}  // namespace rhumb::reference
