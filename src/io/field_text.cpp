#include "io/field_text.hpp"

#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>
#include <system_error>

namespace voltkeel::detail {

std::string shown(std::string_view text) {
    constexpr std::size_t longest = 40;
    const nlohmann::json piece(text.substr(0, longest));
    std::string escaped = piece.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    escaped.front() = '\'';
    escaped.back() = '\'';
    if (text.size() > longest) escaped.insert(escaped.size() - 1, "...");
    return escaped;
}

NumberProblem read_any_number(std::string_view text, double& value) {
    // std::from_chars takes no '+'. What follows must not be a second sign.
    if (text.size() > 1 && text[0] == '+' && (is_digit(text[1]) || text[1] == '.')) {
        text.remove_prefix(1);
    }
    const char* const end = text.data() + text.size();
    auto result = std::from_chars(text.data(), end, value);
    if (result.ec == std::errc::invalid_argument || result.ptr != end) {
        return NumberProblem::not_a_number;
    }
    if (result.ec == std::errc::result_out_of_range) {
        // Too large and too near to zero look alike here; the second is a number that rounds to
        // (almost) nothing.
        long double wide = 0;
        result = std::from_chars(text.data(), end, wide);
        if (result.ec != std::errc{} || std::fabs(wide) > 1) return NumberProblem::too_large;
        value = static_cast<double>(wide);
    }
    return std::isfinite(value) ? NumberProblem::none : NumberProblem::not_finite;
}

}  // namespace voltkeel::detail
