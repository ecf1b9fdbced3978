#include "reference/jpeg_fragments.h"

#include <dcmtk/config/osconfig.h>
#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>
#include <dcmtk/dcmdata/dctk.h>

namespace rhumb::reference {
namespace {

constexpr std::uint8_t marker_start = 0xFF;
constexpr std::uint8_t fill = 0xFF;
constexpr std::uint8_t tem = 0x01;

// Frame headers are C0 to CF but for the tables C4 and CC and the reserved C8.
bool is_frame_header(std::uint8_t code) {
  return code >= 0xC0 && code <= 0xCF && code != 0xC4 && code != 0xC8 && code != 0xCC;
}

// Reserved codes, restarts and the ends of the picture stand alone; segments follow the others.
bool stands_alone(std::uint8_t code) {
  return (code >= 0x02 && code <= 0xBF) || (code >= 0xD0 && code <= 0xD9);
}

}  // namespace

bool stops_at_tem(std::span<const std::uint8_t> jpeg) {
  std::size_t at = 0;
  while (at + 4 < jpeg.size()) {
    const std::uint8_t code = jpeg[at + 1];
    if (jpeg[at] != marker_start || code == 0x00 || is_frame_header(code)) return false;
    if (code == tem) return true;
    if (code == fill) {
      ++at;
      continue;
    }
    at += 2;
    if (!stands_alone(code)) at += (std::size_t{jpeg[at]} << 8U) + jpeg[at + 1];
  }
  return false;
}

bool any_fragment_stops_at_tem(DcmDataset& data) {
  DcmElement* element = nullptr;
  if (data.findAndGetElement(DCM_PixelData, element).bad()) return false;
  auto* pixels = dynamic_cast<DcmPixelData*>(element);
  if (pixels == nullptr) return false;
  E_TransferSyntax syntax = EXS_Unknown;
  const DcmRepresentationParameter* parameter = nullptr;
  pixels->getOriginalRepresentationKey(syntax, parameter);
  DcmPixelSequence* sequence = nullptr;
  if (pixels->getEncapsulatedRepresentation(syntax, parameter, sequence).bad()) return false;
  for (unsigned long k = 0; k < sequence->card(); ++k) {
    DcmPixelItem* fragment = nullptr;
    Uint8* bytes = nullptr;
    if (sequence->getItem(fragment, k).bad() || fragment->getUint8Array(bytes).bad() ||
        bytes == nullptr)
      continue;
    if (stops_at_tem({bytes, fragment->getLength()})) return true;
  }
  return false;
}

}  // namespace rhumb::reference
