#pragma once
/// \file status.hpp
/// What a call on the controller floors reports. Numbers are frozen: they appear in logs.

#include <cstdint>

namespace voltkeel {

/// Outcome of a call. 0 is success; 1..19 bad configuration; 20..39 bad sample; 40..59
/// degraded; 60.. dead. A call that returns 1..39 has changed nothing unless its own text says
/// otherwise.
enum class Status : std::uint8_t {
    ok = 0,
    // Bad configuration: fix the caller, trying again will not help.
    missing_table = 1,   ///< A table pointer is null or a table has fewer than two nodes.
    not_finite = 2,      ///< A parameter or setting is NaN or infinite.
    out_of_range = 3,    ///< A parameter or setting lies outside its stated bounds.
    not_increasing = 4,  ///< A table that must rise with SOC does not.
    not_started = 5,     ///< The object has not been started.
    // Bad sample: this call's input cannot be used.
    sample_not_finite = 20,  ///< A sample is NaN, infinite or beyond what a cell can have.
    time_step_invalid = 21,  ///< The time step is negative or longer than the stated bound.
    voltage_out_of_range =
        22,                 ///< The voltage lies outside the table; the nearest end was returned.
    snapshot_damaged = 23,  ///< Stored bytes are cut or changed.
    snapshot_foreign = 24,  ///< Stored bytes are of another version, model or count of groups.
    // Degraded: an answer was given, with less behind it.
    measurement_rejected =
        40,            ///< The innovation gate refused the voltage; the state was predicted only.
    not_reached = 41,  ///< A forecast ended (time bound) before its target.
    not_allowed =
        42,  ///< The request is outside the windows (for example charging below the plating limit).
};

/// Plain words for a status; never null.
[[nodiscard]] constexpr const char* message(Status status) noexcept {
    switch (status) {
        case Status::ok:
            return "ok";
        case Status::missing_table:
            return "a table is missing or has fewer than two nodes";
        case Status::not_finite:
            return "a parameter or setting is not a finite number";
        case Status::out_of_range:
            return "a parameter or setting is outside its bounds";
        case Status::not_increasing:
            return "a table that must increase with SOC does not";
        case Status::not_started:
            return "the object has not been started";
        case Status::sample_not_finite:
            return "a sample is not a number that a cell can have";
        case Status::time_step_invalid:
            return "the time step is negative or too long";
        case Status::voltage_out_of_range:
            return "the voltage is outside the table";
        case Status::snapshot_damaged:
            return "the stored state is cut or damaged";
        case Status::snapshot_foreign:
            return "the stored state is of another version, model or number of groups";
        case Status::measurement_rejected:
            return "the innovation gate rejected the voltage";
        case Status::not_reached:
            return "the target was not reached within the time bound";
        case Status::not_allowed:
            return "the request is outside the allowed windows";
    }
    return "unknown status";
}

/// True for statuses that mean "an answer was given" (ok and degraded).
[[nodiscard]] constexpr bool usable(Status status) noexcept {
    return status == Status::ok ||
           (static_cast<int>(status) >= 40 && static_cast<int>(status) < 60);
}

/// What a validation found: the first field that is wrong, where, its value and the bound it broke.
template <class Real>
struct Finding {
    Status status{Status::ok};
    const char* field{""};  ///< Name of the field, as in the header.
    int index{-1};          ///< Index within a table, or -1.
    Real value{0};
    Real bound{0};
};

}  // namespace voltkeel
