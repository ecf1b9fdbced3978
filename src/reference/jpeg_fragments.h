// Whether the JPEG data within a DICOM file can be handed to DCMTK.
#pragma once

#include <cstdint>
#include <span>

class DcmDataset;

namespace rhumb::reference {

// Whether a reader that goes from marker segment to marker segment (ISO 10918-1, B.1.1; any number
// of fill bytes 0xFF may precede a marker) meets the marker TEM, 0xFF01, before it comes to the
// frame header or to what is no marker. DCMTK 3.6.7 never gets past it; no coder writes it outside
// of a coding process that is under way.
bool stops_at_tem(std::span<const std::uint8_t> jpeg);

// The same of any fragment of compressed pixel data; false for pictures that are not compressed.
bool any_fragment_stops_at_tem(DcmDataset& data);

}  // namespace rhumb::reference
