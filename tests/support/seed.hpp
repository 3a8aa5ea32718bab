#pragma once

#include <cerrno>
#include <cstdint>
#include <cstdlib>
#include <stdexcept>
#include <string>

namespace voltkeel_test {

/// Seed of every random test.
/// \return the environment variable VOLTKEEL_SEED, or 20260101 when it is not set or empty.
/// \throws std::runtime_error when VOLTKEEL_SEED is not a whole number from 0 to 2^64 - 1.
inline std::uint64_t seed() {
    const char* const text = std::getenv("VOLTKEEL_SEED");
    if (text == nullptr || *text == '\0') return 20260101;
    // strtoull alone would accept "-1" and "12x".
    const bool digits_only = std::string(text).find_first_not_of("0123456789") == std::string::npos;
    errno = 0;
    const unsigned long long value = std::strtoull(text, nullptr, 10);
    if (!digits_only || errno == ERANGE) {
        throw std::runtime_error("VOLTKEEL_SEED='" + std::string(text) +
                                 "' is not a whole number from 0 to 18446744073709551615");
    }
    return value;
}

}  // namespace voltkeel_test
