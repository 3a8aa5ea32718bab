#pragma once
/// \file supply.hpp
/// What a charging supply can give: the socket, the cable and the charger of an AC supply, or a DC
/// station. The least of all of them, with the name of the one that decides.
///
/// Control pilot and proximity coding after IEC 61851-1 (control pilot: Annex A, proximity: Annex
/// B), read in a published manual of a test adapter that restates the pilot table and in a
/// published manual of a charging controller for the resistor windows; where a number is from
/// memory, it says so.
///
/// This arithmetic does not make an installation safe: wiring rules, the standard itself, the
/// makers of charger and cable and qualified people come first.

#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What the duty cycle of a control pilot says. Numbers are frozen: they appear in logs.
enum class PilotMeaning : std::uint8_t {
    no_charging = 0,            ///< Fault, not ready, or a duty cycle that means nothing.
    digital_communication = 1,  ///< A current is agreed on by messages only (IEC 61851-1, 5 %).
    current = 2,                ///< The line current that the duty cycle stands for.
};

/// Plain words; never null.
[[nodiscard]] constexpr const char* message(PilotMeaning meaning) noexcept {
    switch (meaning) {
        case PilotMeaning::no_charging:
            return "no charging";
        case PilotMeaning::digital_communication:
            return "digital communication required";
        case PilotMeaning::current:
            return "current allowed";
    }
    return "unknown meaning";
}

/// A control pilot, read.
template <class Real>
struct PilotSignal {
    PilotMeaning meaning{PilotMeaning::no_charging};
    Real current_A{0};  ///< Per line; 0 unless the meaning is `current`.
};

/// Line current that a control pilot allows (IEC 61851-1, Annex A).
/// \param duty_cycle_percent 0..100, in percent as the standard has it, so that its edges are exact
/// \return sample_not_finite for anything else; `out` then says no charging
template <class Real>
[[nodiscard]] inline Status pilot_signal(Real duty_cycle_percent, PilotSignal<Real>& out) noexcept {
    out = {};
    const Real d = duty_cycle_percent;
    if (!detail::within(d, Real(0), Real(100))) return Status::sample_not_finite;
    if (d >= Real(3) && d <= Real(7)) {
        out.meaning = PilotMeaning::digital_communication;
        return Status::ok;
    }
    if (d < Real(8) || d > Real(97)) return Status::ok;
    out.meaning = PilotMeaning::current;
    if (d < Real(10)) {
        out.current_A = Real(6);
    } else if (d <= Real(85)) {
        out.current_A = d * Real(3) / Real(5);
    } else if (d <= Real(96)) {
        out.current_A = (d - Real(64)) * Real(2.5);
    } else {
        out.current_A = Real(80);
    }
    return Status::ok;
}

/// What the proximity resistor says of the cable. Numbers are frozen: they appear in logs.
enum class CableMeaning : std::uint8_t {
    none = 0,   ///< No plug: the resistance is above every window.
    fault = 1,  ///< Below every window, or between two of them.
    rated = 2,  ///< A cable of known rating.
};

/// Plain words; never null.
[[nodiscard]] constexpr const char* message(CableMeaning meaning) noexcept {
    switch (meaning) {
        case CableMeaning::none:
            return "no plug";
        case CableMeaning::fault:
            return "no valid coding of a cable";
        case CableMeaning::rated:
            return "cable of known rating";
    }
    return "unknown meaning";
}

/// Where one coding of a cable ends and the next begins.
enum class ProximityWindows : std::uint8_t {
    /// 75 | 150 | 330 | 1000 | 2200 ohm without gaps, as a published controller manual has them. At
    /// an edge the smaller rating holds.
    joined = 0,
    /// 80..140, 164..308, 400..936, 1100..2460 ohm and a fault between them, no plug above 4500
    /// ohm (windows of IEC 61851-1 from memory, not re-read).
    separate = 1,
};

/// A proximity contact, read.
template <class Real>
struct CableRating {
    CableMeaning meaning{CableMeaning::none};
    Real current_A{0};  ///< Per line; 0 unless the meaning is `rated`.
};

/// Rating of a cable by the resistor between its proximity contact and earth (IEC 61851-1, Annex
/// B: nominal 1500 ohm 13 A, 680 ohm 20 A, 220 ohm 32 A, 100 ohm 63 A or 70 A single-phase).
/// \param resistance_ohm >= 0; infinity is an open contact
/// \param phases lines in use, 1..3
/// \return sample_not_finite for NaN or a negative resistance, out_of_range for other `phases`;
/// `out` then has no current
template <class Real>
[[nodiscard]] inline Status cable_rating(Real resistance_ohm, int phases, ProximityWindows windows,
                                         CableRating<Real>& out) noexcept {
    out = {CableMeaning::fault, Real(0)};
    if (!(resistance_ohm >= Real(0))) return Status::sample_not_finite;
    if (phases < 1 || phases > 3) return Status::out_of_range;
    struct Window {
        Real low_ohm;
        Real high_ohm;
        Real current_A;
    };
    const Real largest_A = phases == 1 ? Real(70) : Real(63);
    // From the smallest rating on, so that it wins at an edge that two windows share.
    const Window joined[] = {{Real(1000), Real(2200), Real(13)},
                             {Real(330), Real(1000), Real(20)},
                             {Real(150), Real(330), Real(32)},
                             {Real(75), Real(150), largest_A}};
    const Window separate[] = {{Real(1100), Real(2460), Real(13)},
                               {Real(400), Real(936), Real(20)},
                               {Real(164), Real(308), Real(32)},
                               {Real(80), Real(140), largest_A}};
    const bool apart = windows == ProximityWindows::separate;
    for (const Window& window : apart ? separate : joined) {
        if (detail::within(resistance_ohm, window.low_ohm, window.high_ohm)) {
            out = {CableMeaning::rated, window.current_A};
            return Status::ok;
        }
    }
    if (resistance_ohm > (apart ? Real(4500) : Real(2200))) out.meaning = CableMeaning::none;
    return Status::ok;
}

/// Efficiency of a charger over the power it puts out: linear in between, held at the ends. One
/// node is a plain number.
template <class Real>
struct PowerEfficiency {
    static constexpr int capacity = 16;
    Real power_W[capacity]{};              ///< Put out; increasing.
    Real efficiency[capacity]{Real(0.9)};  ///< Power out over power in, above 0 up to 1.
    int count{1};
};

/// Efficiency at a power put out.
template <class Real>
[[nodiscard]] inline Real efficiency_at(const PowerEfficiency<Real>& table, Real power_W) noexcept {
    int k = 0;
    if (!(power_W > table.power_W[0])) return table.efficiency[0];
    while (k < table.count - 1 && power_W >= table.power_W[k + 1])
        ++k;
    if (k >= table.count - 1) return table.efficiency[table.count - 1];
    return table.efficiency[k] + (power_W - table.power_W[k]) /
                                     (table.power_W[k + 1] - table.power_W[k]) *
                                     (table.efficiency[k + 1] - table.efficiency[k]);
}

/// Power that a charger puts out when it takes `input_W`. The table is linear between its nodes, so
/// the answer is exact.
template <class Real>
[[nodiscard]] inline Real output_power_W(const PowerEfficiency<Real>& table,
                                         Real input_W) noexcept {
    if (!(input_W > Real(0))) return Real(0);
    Real out_W = input_W * table.efficiency[0];
    for (int k = 0; k < table.count; ++k) {
        // More goes in at node k than there is: the answer lies below it.
        if (table.power_W[k] >= input_W * table.efficiency[k]) break;
        if (k == table.count - 1) {
            out_W = input_W * table.efficiency[k];
            break;
        }
        const Real slope_per_W = (table.efficiency[k + 1] - table.efficiency[k]) /
                                 (table.power_W[k + 1] - table.power_W[k]);
        const Real at_zero = table.efficiency[k] - slope_per_W * table.power_W[k];
        out_W = input_W * at_zero / (Real(1) - input_W * slope_per_W);
        if (out_W > table.power_W[k + 1]) out_W = table.power_W[k + 1];
    }
    return out_W;
}

/// The mains with socket and cable, up to the charger.
template <class Real>
struct AcSupply {
    Real mains_voltage_V{230};  ///< From a line to neutral; 240 between the legs of a split phase.
    int phases{1};              ///< Lines that are there, 1..3.
    Real outlet_current_A{
        0};                 ///< Ceiling per line of fuse, socket or driver; 0 when there is none.
    Real power_factor{1};   ///< Of the charger; 1 is usual for one with correction.
    bool has_pilot{false};  ///< A control pilot says what may be drawn.
    bool has_cable{false};  ///< A proximity resistor says what the cable may carry.
    Real duty_cycle_percent{0};  ///< Of the control pilot.
    Real proximity_ohm{0};       ///< From proximity contact to earth.
    ProximityWindows windows{ProximityWindows::joined};
};

/// A charger between mains and pack. Ceilings of 0 are not there.
template <class Real>
struct Charger {
    int phases{1};                ///< Lines it can draw from, 1..3.
    Real input_current_max_A{0};  ///< Per line; 0 when only the output is rated.
    Real voltage_min_V{0};        ///< Output.
    Real voltage_max_V{0};        ///< Output, > voltage_min_V.
    Real current_max_A{0};        ///< Output, > 0.
    Real power_max_W{0};          ///< Output; 0 when current and voltage say all.
    PowerEfficiency<Real> efficiency{};
};

/// A DC station: what it says it can give now.
template <class Real>
struct DcStation {
    Real voltage_min_V{0};
    Real voltage_max_V{0};  ///< > voltage_min_V.
    Real current_max_A{0};  ///< >= 0: 0 while it gives nothing.
    Real power_max_W{0};    ///< >= 0.
};

/// Kinds of supply.
enum class SupplyKind : std::uint8_t {
    ac_charger = 0,  ///< Mains and an own charger.
    dc_station = 1,  ///< Direct current from outside.
};

/// Whatever charges the pack. Only the members of its kind are read.
template <class Real>
struct Supply {
    SupplyKind kind{SupplyKind::ac_charger};
    AcSupply<Real> ac{};
    Charger<Real> charger{};
    DcStation<Real> station{};
};

/// What decides the current that a supply gives. Numbers are frozen: they appear in logs.
enum class SupplyReason : std::uint8_t {
    battery = 0,          ///< The pack takes no more than this; the supply could give it.
    pilot = 1,            ///< Line current that the control pilot allows.
    cable = 2,            ///< Rating of the cable.
    outlet = 3,           ///< Fuse, socket or driver.
    charger_input = 4,    ///< Line current of the charger.
    charger_current = 5,  ///< Output current of the charger.
    charger_power = 6,    ///< Output power of the charger.
    charger_voltage = 7,  ///< The pack's voltage is outside the charger's window.
    station_current = 8,
    station_power = 9,
    station_voltage = 10,  ///< The pack's voltage is outside the station's window.
    pilot_off = 11,        ///< The control pilot allows no charging.
    pilot_digital = 12,    ///< The control pilot asks for digital communication.
    no_plug = 13,          ///< The proximity contact is open.
    cable_fault = 14,      ///< The proximity contact has no valid coding.
};

/// Plain words for a reason; never null.
[[nodiscard]] constexpr const char* message(SupplyReason reason) noexcept {
    switch (reason) {
        case SupplyReason::battery:
            return "the pack takes no more";
        case SupplyReason::pilot:
            return "the current of the control pilot";
        case SupplyReason::cable:
            return "the rating of the cable";
        case SupplyReason::outlet:
            return "the ceiling of the outlet";
        case SupplyReason::charger_input:
            return "the charger's input current";
        case SupplyReason::charger_current:
            return "the charger's output current";
        case SupplyReason::charger_power:
            return "the charger's output power";
        case SupplyReason::charger_voltage:
            return "the pack's voltage is outside the charger's window";
        case SupplyReason::station_current:
            return "the station's current";
        case SupplyReason::station_power:
            return "the station's power";
        case SupplyReason::station_voltage:
            return "the pack's voltage is outside the station's window";
        case SupplyReason::pilot_off:
            return "the control pilot allows no charging";
        case SupplyReason::pilot_digital:
            return "the control pilot asks for digital communication";
        case SupplyReason::no_plug:
            return "no plug is in";
        case SupplyReason::cable_fault:
            return "the cable has no valid coding";
    }
    return "unknown reason";
}

/// Checks a supply; see validate(CellParameters). What is measured (duty cycle, proximity) is not
/// checked here but in supply_limits.
template <class Real>
[[nodiscard]] Finding<Real> validate(const Supply<Real>& s) noexcept {
    constexpr Real largest_V = Real(5000);
    constexpr Real largest_A = Real(1e4);
    constexpr Real largest_W = Real(1e8);
    constexpr Real small = Real(1e-3);
    if (s.kind == SupplyKind::dc_station) {
        const DcStation<Real>& d = s.station;
        const detail::BoundedField<Real> rows[] = {
            {"station.voltage_min_V", d.voltage_min_V, Real(0), largest_V},
            {"station.voltage_max_V", d.voltage_max_V, small, largest_V},
            {"station.current_max_A", d.current_max_A, Real(0), largest_A},
            {"station.power_max_W", d.power_max_W, Real(0), largest_W},
        };
        const Finding<Real> wrong = detail::first_outside(rows);
        if (wrong.status != Status::ok) return wrong;
        if (!(d.voltage_max_V > d.voltage_min_V)) {
            return {Status::out_of_range, "station.voltage_max_V", -1, d.voltage_max_V,
                    d.voltage_min_V};
        }
        return {};
    }
    if (s.kind != SupplyKind::ac_charger) {
        return {Status::out_of_range, "kind", -1, static_cast<Real>(s.kind), Real(1)};
    }
    const AcSupply<Real>& a = s.ac;
    const Charger<Real>& c = s.charger;
    const detail::BoundedField<Real> rows[] = {
        {"ac.mains_voltage_V", a.mains_voltage_V, Real(50), Real(1000)},
        {"ac.phases", static_cast<Real>(a.phases), Real(1), Real(3)},
        {"ac.outlet_current_A", a.outlet_current_A, Real(0), largest_A},
        {"ac.power_factor", a.power_factor, Real(0.1), Real(1)},
        {"charger.phases", static_cast<Real>(c.phases), Real(1), Real(3)},
        {"charger.input_current_max_A", c.input_current_max_A, Real(0), largest_A},
        {"charger.voltage_min_V", c.voltage_min_V, Real(0), largest_V},
        {"charger.voltage_max_V", c.voltage_max_V, small, largest_V},
        {"charger.current_max_A", c.current_max_A, small, largest_A},
        {"charger.power_max_W", c.power_max_W, Real(0), largest_W},
        {"charger.efficiency.count", static_cast<Real>(c.efficiency.count), Real(1),
         static_cast<Real>(PowerEfficiency<Real>::capacity)},
    };
    const Finding<Real> wrong = detail::first_outside(rows);
    if (wrong.status != Status::ok) return wrong;
    if (!(c.voltage_max_V > c.voltage_min_V)) {
        return {Status::out_of_range, "charger.voltage_max_V", -1, c.voltage_max_V,
                c.voltage_min_V};
    }
    if (!(a.outlet_current_A > Real(0)) && !a.has_pilot && !a.has_cable &&
        !(c.input_current_max_A > Real(0)) && !(c.power_max_W > Real(0))) {
        // Nothing would bound what is drawn from the socket.
        return {Status::out_of_range, "ac.outlet_current_A", -1, a.outlet_current_A, small};
    }
    const PowerEfficiency<Real>& e = c.efficiency;
    for (int k = 0; k < e.count; ++k) {
        if (!detail::finite(e.power_W[k])) {
            return {Status::not_finite, "charger.efficiency.power_W", k, e.power_W[k], Real(0)};
        }
        if (!detail::finite(e.efficiency[k])) {
            return {Status::not_finite, "charger.efficiency.efficiency", k, e.efficiency[k],
                    Real(0)};
        }
        if (e.power_W[k] < Real(0)) {
            return {Status::out_of_range, "charger.efficiency.power_W", k, e.power_W[k], Real(0)};
        }
        if (e.efficiency[k] < Real(0.01) || e.efficiency[k] > Real(1)) {
            return {Status::out_of_range, "charger.efficiency.efficiency", k, e.efficiency[k],
                    e.efficiency[k] > Real(1) ? Real(1) : Real(0.01)};
        }
        if (k == 0) continue;
        if (!(e.power_W[k] > e.power_W[k - 1])) {
            return {Status::not_increasing, "charger.efficiency.power_W", k, e.power_W[k],
                    e.power_W[k - 1]};
        }
        // A charger that takes less while it gives more does not exist.
        if (!(e.power_W[k] * e.efficiency[k - 1] > e.power_W[k - 1] * e.efficiency[k])) {
            return {Status::not_increasing, "charger.efficiency.efficiency", k, e.efficiency[k],
                    e.efficiency[k - 1]};
        }
    }
    return {};
}

/// What a supply can put into a pack, whatever the pack: the least of all on the way.
template <class Real>
struct SupplyLimits {
    Real voltage_min_V{0};  ///< Below, nothing flows.
    Real voltage_max_V{0};  ///< Highest voltage it holds.
    Real current_max_A{0};
    Real power_max_W{0};
    Real line_current_A{0};  ///< AC: most that may be drawn per line; 0 for a DC station.
    SupplyReason current_reason{SupplyReason::charger_current};
    SupplyReason power_reason{SupplyReason::charger_power};
    SupplyReason voltage_reason{SupplyReason::charger_voltage};
};

/// Reads pilot and cable and takes the least of outlet, pilot, cable and charger.
/// \param supply checked with validate() when it is set
/// \param out receives the limits; with power 0 and the reason when nothing may be drawn
/// \return ok; sample_not_finite for a duty cycle or proximity that cannot be: `out` then allows
/// nothing
template <class Real>
[[nodiscard]] inline Status supply_limits(const Supply<Real>& supply,
                                          SupplyLimits<Real>& out) noexcept {
    out = {};
    if (supply.kind == SupplyKind::dc_station) {
        const DcStation<Real>& d = supply.station;
        out = {d.voltage_min_V,
               d.voltage_max_V,
               d.current_max_A,
               d.power_max_W,
               Real(0),
               SupplyReason::station_current,
               SupplyReason::station_power,
               SupplyReason::station_voltage};
        return Status::ok;
    }
    const AcSupply<Real>& ac = supply.ac;
    const Charger<Real>& charger = supply.charger;
    out.voltage_min_V = charger.voltage_min_V;
    out.voltage_max_V = charger.voltage_max_V;
    out.current_max_A = charger.current_max_A;

    // Ceilings of the line current; negative means none yet.
    const int phases = ac.phases < charger.phases ? ac.phases : charger.phases;
    Real line_A = Real(-1);
    const auto at_most = [&](Real current_A, SupplyReason reason) {
        if (line_A < Real(0) || current_A < line_A) {
            line_A = current_A;
            out.power_reason = reason;
        }
    };
    Status status = Status::ok;
    if (ac.has_pilot) {
        PilotSignal<Real> pilot;
        status = pilot_signal(ac.duty_cycle_percent, pilot);
        at_most(pilot.current_A, pilot.meaning == PilotMeaning::current ? SupplyReason::pilot
                                 : pilot.meaning == PilotMeaning::digital_communication
                                     ? SupplyReason::pilot_digital
                                     : SupplyReason::pilot_off);
    }
    if (ac.has_cable) {
        CableRating<Real> cable;
        const Status read = cable_rating(ac.proximity_ohm, phases, ac.windows, cable);
        if (status == Status::ok) status = read;
        at_most(cable.current_A, cable.meaning == CableMeaning::rated  ? SupplyReason::cable
                                 : cable.meaning == CableMeaning::none ? SupplyReason::no_plug
                                                                       : SupplyReason::cable_fault);
    }
    if (ac.outlet_current_A > Real(0)) at_most(ac.outlet_current_A, SupplyReason::outlet);
    if (charger.input_current_max_A > Real(0)) {
        at_most(charger.input_current_max_A, SupplyReason::charger_input);
    }
    if (line_A >= Real(0)) {
        const Real input_W =
            static_cast<Real>(phases) * ac.mains_voltage_V * line_A * ac.power_factor;
        out.line_current_A = line_A;
        out.power_max_W = output_power_W(charger.efficiency, input_W);
    } else {
        out.power_reason = SupplyReason::charger_power;
        out.power_max_W = charger.power_max_W;
    }
    if (charger.power_max_W > Real(0) && charger.power_max_W < out.power_max_W) {
        out.power_max_W = charger.power_max_W;
        out.power_reason = SupplyReason::charger_power;
    }
    return status;
}

/// Charge current with what decides it.
template <class Real>
struct AvailableCurrent {
    Real current_A{0};  ///< Into the pack, >= 0.
    SupplyReason reason{SupplyReason::battery};
};

/// Charge current that is available at a pack voltage: the least of what the supply gives and what
/// the pack takes.
/// \param pack_voltage_V at the terminals, > 0
/// \param allowed_A what limits and plan allow the pack to take, >= 0
/// \return sample_not_finite for a voltage or current that cannot be: `out` is then 0 A
template <class Real>
[[nodiscard]] inline Status available_current(const SupplyLimits<Real>& limits, Real pack_voltage_V,
                                              Real allowed_A,
                                              AvailableCurrent<Real>& out) noexcept {
    out = {};
    if (!detail::finite(pack_voltage_V) || !detail::finite(allowed_A) ||
        !(pack_voltage_V > Real(0)) || allowed_A < Real(0)) {
        return Status::sample_not_finite;
    }
    if (pack_voltage_V < limits.voltage_min_V || pack_voltage_V > limits.voltage_max_V) {
        out = {Real(0), limits.voltage_reason};
        return Status::ok;
    }
    out = {limits.current_max_A, limits.current_reason};
    const Real by_power_A = limits.power_max_W / pack_voltage_V;
    if (by_power_A < out.current_A) out = {by_power_A, limits.power_reason};
    if (allowed_A <= out.current_A) out = {allowed_A, SupplyReason::battery};
    return Status::ok;
}

/// Power drawn from the socket while `power_W` flows into the pack. A DC station is counted where
/// it is connected, so there it is the same.
template <class Real>
[[nodiscard]] inline Real socket_power_W(const Supply<Real>& supply, Real power_W) noexcept {
    if (!(power_W > Real(0))) return Real(0);
    if (supply.kind == SupplyKind::dc_station) return power_W;
    return power_W / efficiency_at(supply.charger.efficiency, power_W);
}

}  // namespace voltkeel
