#pragma once
/// \file
/// Columns with their names into a CSV file.

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel::detail {

using NamedColumns = std::vector<std::pair<std::string, std::vector<double>>>;

/// \throws Error when the file cannot be written
inline void write_named_columns(const std::filesystem::path& path, NamedColumns all) {
    std::vector<std::string> names;
    std::vector<std::vector<double>> columns;
    for (auto& one : all) {
        names.push_back(std::move(one.first));
        columns.push_back(std::move(one.second));
    }
    write_csv(path, names, columns);
}

}  // namespace voltkeel::detail
