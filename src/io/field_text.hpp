#pragma once
/// \file
/// One field of a CSV file: as a number, and as a message can show it.

#include <cstdint>
#include <string>
#include <string_view>

namespace voltkeel::detail {

inline bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/// A piece of the file as a message can show it: cut to a readable length, what is no text escaped
/// or replaced, because a message must stay UTF-8 whatever the file holds.
[[nodiscard]] std::string shown(std::string_view text);

enum class NumberProblem : std::uint8_t { none, not_a_number, not_finite, too_large };

/// Reads a number in any decimal notation that fills the whole text.
[[nodiscard]] NumberProblem read_any_number(std::string_view text, double& value);

}  // namespace voltkeel::detail
