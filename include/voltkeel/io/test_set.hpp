#pragma once
/// \file
/// The logs of a fit, each with its role and its way of writing, kept in a small JSON file
/// (data/schema/test_set.schema.json).

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// One log of a set.
struct TestFile {
    std::filesystem::path path;
    std::string role;               ///< "slow test", "pulse test", "charge", "cycles" or "heat".
    std::filesystem::path mapping;  ///< Its mapping file; empty: none.
    LogReadSettings settings;       ///< How to read it: the mapping, and what the set puts before.
};

/// Reads a set of tests and the mappings that it names.
/// \return the logs in the order of the file; relative paths are joined to the folder of the set
/// \throws Error naming the file and every field that is wrong, or the mapping that cannot be read
[[nodiscard]] std::vector<TestFile> load_test_set(const std::filesystem::path& path);

/// Reads a set of tests from JSON text, as `load_test_set` does.
/// \param source what to call the text in messages
/// \param folder that relative paths start at
[[nodiscard]] std::vector<TestFile> parse_test_set(std::string_view text, const std::string& source,
                                                   const std::filesystem::path& folder);

/// How a log was read, for a provenance: its sign and what stands in for its temperature, where
/// not as the library writes logs. Empty for a log that is.
[[nodiscard]] std::string reading_in_words(const LogReadSettings& settings);

}  // namespace voltkeel
