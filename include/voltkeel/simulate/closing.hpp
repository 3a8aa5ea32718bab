#pragma once
/// \file closing.hpp
/// May the contactor of a string be closed now, and after what precharge?

#include <optional>
#include <string>
#include <vector>

#include "voltkeel/pack/precharge.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel {

/// What closing a contactor would do at the first instant.
struct ClosingCheck {
    double difference_V{0};  ///< Voltage of the open string less that of what it is joined to.
    double current_A{0};     ///< Into the string at the instant of closing; negative: out of it.
    double limit_A{0};       ///< Least of the contactor's making current and its fuse's rating.
    bool allowed{false};     ///< No string goes above its own limit.
    double difference_limit_V{0};          ///< Largest difference that is allowed.
    std::vector<double> string_current_A;  ///< Of every string at that instant.
    /// Where the string is the first one and the pack has a precharge circuit: from the difference
    /// down to `difference_limit_V` or the circuit's own share, whichever comes later.
    std::optional<PrechargeResult<double>> precharge;
};

/// Checks the closing of a string. With another string closed, the current between both is limited
/// by their resistances only, and nothing but charging or discharging one of them helps; a first
/// string meets the capacitor of the link.
/// \param state of the pack, its contactors as they are now
/// \param load_current_A that flows meanwhile \param link_voltage_V of the link where no string is
/// closed
/// \throws Error for a string that is not there or closed already, or a state of another pack
[[nodiscard]] ClosingCheck check_closing(const Pack& pack, const PackState& state,
                                         const std::string& string, double load_current_A = 0,
                                         double link_voltage_V = 0);

}  // namespace voltkeel
