#pragma once
/// \file crc32.hpp
/// The 32-bit cyclic redundancy check of ISO 3309 / ITU-T V.42 / IEEE 802.3: generator polynomial
/// 0x04C11DB7, bits reflected, start and end inverted.

#include <cstdint>

namespace voltkeel {

/// \param bytes `count` of them \param before the check of what came before, 0 at the start
[[nodiscard]] constexpr std::uint32_t crc32(const std::uint8_t* bytes, int count,
                                            std::uint32_t before = 0) noexcept {
    std::uint32_t crc = ~before;
    for (int k = 0; k < count; ++k) {
        crc ^= bytes[k];
        for (int bit = 0; bit < 8; ++bit)
            crc = (crc >> 1U) ^ (0xEDB88320U & (0U - (crc & 1U)));
    }
    return ~crc;
}

}  // namespace voltkeel
