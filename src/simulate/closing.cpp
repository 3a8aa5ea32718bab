#include "voltkeel/simulate/closing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// Voltage and current of every string of a state at one instant.
SimulationResult instant(const Pack& pack, PackState state, std::vector<bool> closed,
                         double current_A) {
    SimulationSettings settings;
    state.closed = std::move(closed);
    settings.start = std::move(state);
    settings.heat = false;
    settings.cut_off.voltage = false;
    settings.record_groups = false;
    // The first row is the instant itself; a nanosecond more moves nothing.
    return simulate(pack, {current_load(current_A, 1e-9)}, settings);
}

double limit_of(const PackString& string) {
    return std::min(string.contactor.making_current_A, string.fuse.current_A);
}

}  // namespace

ClosingCheck check_closing(const Pack& pack, const PackState& state, const std::string& string,
                           double load_current_A, double link_voltage_V) {
    const auto found = std::find_if(pack.strings.begin(), pack.strings.end(),
                                    [&](const PackString& one) { return one.name == string; });
    if (found == pack.strings.end()) throw Error("there is no string \"" + string + "\"");
    const auto which = static_cast<std::size_t>(found - pack.strings.begin());
    if (state.closed.size() != pack.strings.size()) {
        throw Error("state.closed: has " + std::to_string(state.closed.size()) +
                    " values, the pack has " + std::to_string(pack.strings.size()) + " strings");
    }
    if (state.closed[which]) throw Error("the contactor of \"" + string + "\" is closed already");
    if (which < state.fuse_open.size() && state.fuse_open[which])
        throw Error("the fuse of \"" + string + "\" has opened");
    if (!std::isfinite(load_current_A) || !std::isfinite(link_voltage_V))
        throw Error("load_current_A and link_voltage_V must be finite numbers");
    ClosingCheck check;
    const bool first =
        std::none_of(state.closed.begin(), state.closed.end(), [](bool one) { return one; });
    const SimulationResult before =
        instant(pack, state, state.closed, first ? 0.0 : load_current_A);
    std::vector<bool> closed = state.closed;
    closed[which] = true;
    const SimulationResult after = instant(pack, state, closed, load_current_A);
    // What the string's own contactor sees: its voltage against that of the others' joint.
    const double string_V = before.string_voltage_V[which];
    check.limit_A = limit_of(*found);
    const std::size_t strings = pack.strings.size();
    check.string_current_A.assign(
        after.string_current_A.begin(),
        after.string_current_A.begin() + static_cast<std::ptrdiff_t>(strings));
    if (first) {
        check.difference_V = string_V - link_voltage_V;
        const double ohm = [&] {
            // Twice with different currents: the string's resistance from its terminals.
            const SimulationResult loaded = instant(pack, state, closed, 1.0);
            const SimulationResult idle = instant(pack, state, closed, 0.0);
            return loaded.voltage_V.front() - idle.voltage_V.front();
        }();
        check.difference_limit_V = check.limit_A * ohm;
        check.current_A = -check.difference_V / ohm;  // into an empty link, before it is charged
        check.string_current_A[which] = check.current_A;
        check.allowed = std::abs(check.current_A) <= check.limit_A;
        if (pack.precharge && check.difference_V != 0) {
            Precharge<double> circuit = *pack.precharge;
            const double share = check.difference_limit_V / std::abs(check.difference_V);
            if (1 - share > circuit.complete_share)
                circuit.complete_share = std::min(1 - share, 0.99999);
            PrechargeResult<double> result;
            const Status status = precharge(circuit, check.difference_V, result);
            if (status != Status::ok) throw Error(std::string("precharge: ") + message(status));
            check.precharge = result;
        }
        return check;
    }
    double joint_V = 0;
    for (std::size_t s = 0; s < strings; ++s) {
        if (state.closed[s])
            joint_V = before.string_voltage_V[s] +
                      pack.strings[s].contactor.resistance_ohm * before.string_current_A[s];
    }
    check.difference_V = string_V - joint_V;
    check.current_A = check.string_current_A[which];
    check.allowed = true;
    for (std::size_t s = 0; s < strings; ++s) {
        if (closed[s] && std::abs(check.string_current_A[s]) > limit_of(pack.strings[s]))
            check.allowed = false;
    }
    // The current is a straight line through none at no difference.
    const double ohm = check.current_A != 0 ? std::abs(check.difference_V / check.current_A) : 0.0;
    check.difference_limit_V =
        ohm > 0 ? check.limit_A * ohm : std::numeric_limits<double>::infinity();
    return check;
}

}  // namespace voltkeel
