#pragma once

/// \file
/// The version of Voltkeel, and the only place where it is written down: the CMake package, the
/// Python package and the documentation read these three lines. Plain macros, so that C and the
/// preprocessor can use them too.

#define VOLTKEEL_VERSION_MAJOR 0
#define VOLTKEEL_VERSION_MINOR 1
#define VOLTKEEL_VERSION_PATCH 0

#define VOLTKEEL_DETAIL_TEXT(number) #number
#define VOLTKEEL_DETAIL_JOIN(major, minor, patch) \
    VOLTKEEL_DETAIL_TEXT(major) "." VOLTKEEL_DETAIL_TEXT(minor) "." VOLTKEEL_DETAIL_TEXT(patch)

/// The version as text, "major.minor.patch".
#define VOLTKEEL_VERSION \
    VOLTKEEL_DETAIL_JOIN(VOLTKEEL_VERSION_MAJOR, VOLTKEEL_VERSION_MINOR, VOLTKEEL_VERSION_PATCH)

#ifdef __cplusplus
namespace voltkeel {

/// The version as text, "major.minor.patch".
inline constexpr const char version[] = VOLTKEEL_VERSION;

}  // namespace voltkeel
#endif
