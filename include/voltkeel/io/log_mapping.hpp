#pragma once
/// \file
/// How a tester writes its files, kept in a small JSON file (data/schema/log_mapping.schema.json).

#include <filesystem>
#include <string>
#include <string_view>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Reads a mapping file. What it leaves out has the default of `LogReadSettings`.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] LogReadSettings load_log_mapping(const std::filesystem::path& path);

/// Reads a mapping from JSON text, as `load_log_mapping` does.
/// \param source what to call the text in messages
[[nodiscard]] LogReadSettings parse_log_mapping(std::string_view text, const std::string& source);

/// Writes a mapping file. It appears complete or not at all.
/// \throws Error when a setting does not fit the schema or the file cannot be written
void save_log_mapping(const std::filesystem::path& path, const LogReadSettings& settings);

}  // namespace voltkeel
