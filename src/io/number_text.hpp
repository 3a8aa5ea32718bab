#pragma once
/// \file number_text.hpp
/// Numbers in messages for people.

#include <cstdio>
#include <string>

namespace voltkeel {

/// `value` in a printf format for one double.
inline std::string number_text(double value, const char* format = "%.4g") {
    char text[48];
    std::snprintf(text, sizeof text, format, value);
    return text;
}

}  // namespace voltkeel
