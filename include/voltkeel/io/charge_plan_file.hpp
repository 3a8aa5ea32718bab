#pragma once
/// \file
/// Plan files: JSON that people can read and write, described by
/// `data/schema/charge_plan.schema.json`.

#include <filesystem>
#include <string>
#include <string_view>

#include "voltkeel/charge/plan.hpp"

namespace voltkeel {

/// A plan with its name and where it comes from.
struct ChargePlanDescription {
    std::string name;
    std::string source;         ///< Data sheet, or what is to be replaced by it.
    double for_capacity_Ah{0};  ///< Currents are those of a cell of this capacity; 0: of any.
    ChargePlan<double> plan{};
};

/// Checks a plan. \throws Error naming field, value and bound
void check_charge_plan(const ChargePlan<double>& plan);

/// The plan for a cell: currents and powers grow with the capacity where the file says so.
/// \param capacity_Ah of the cell, > 0 \throws Error for a plan or capacity that cannot be used
[[nodiscard]] ChargePlan<double> plan_for(const ChargePlanDescription& description,
                                          double capacity_Ah);

/// Reads a plan file. What it leaves out has the default of the struct.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] ChargePlanDescription load_charge_plan(const std::filesystem::path& path);

/// Reads a plan from JSON text, as `load_charge_plan` does.
/// \param source what to call the text in messages
[[nodiscard]] ChargePlanDescription parse_charge_plan(std::string_view text,
                                                      const std::string& source);

/// Writes a plan file. It appears complete or not at all; one that exists is replaced.
/// \throws Error when a field is out of bounds or the file cannot be written
void save_charge_plan(const std::filesystem::path& path, const ChargePlanDescription& description);

}  // namespace voltkeel
