#pragma once
/// \file plan.hpp
/// How a cell is charged: stages of constant current, voltage or power, rests and balancing, in
/// zones of temperature.
///
/// A plan is an input. The cell maker's data sheet says what it must be.

#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/parameters.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Current and voltage allowed while the cell is between two temperatures.
template <class Real>
struct ChargeZone {
    Real temperature_min_degC{0};   ///< Included.
    Real temperature_max_degC{45};  ///< Excluded, except in the last zone.
    Real current_A{0};              ///< Constant-current phase, > 0.
    Real voltage_V{0};              ///< Constant-voltage phase.
};

/// What a stage of a charge does. Numbers are frozen: they appear in logs.
enum class StageKind : std::uint8_t {
    constant_current = 0,  ///< Until the voltage is reached.
    constant_voltage = 1,  ///< At most the current until the voltage is reached, then the voltage
                           ///< until the current has fallen.
    constant_power = 2,    ///< Until the voltage is reached.
    rest = 3,              ///< No current for a time.
    balancing = 4,         ///< No current while groups are bled.
};

/// Plain words for a kind of stage; never null.
[[nodiscard]] constexpr const char* message(StageKind kind) noexcept {
    switch (kind) {
        case StageKind::constant_current:
            return "constant current";
        case StageKind::constant_voltage:
            return "constant voltage";
        case StageKind::constant_power:
            return "constant power";
        case StageKind::rest:
            return "rest";
        case StageKind::balancing:
            return "balancing";
    }
    return "unknown stage";
}

/// One stage of a charge, for one cell. The zone of the present temperature holds in every stage:
/// a stage can only ask for less.
template <class Real>
struct ChargeStage {
    StageKind kind{StageKind::constant_voltage};
    Real current_A{0};      ///< Highest current; 0 means the zone's.
    Real voltage_V{0};      ///< Where it ends, or what it holds; 0 means the zone's.
    Real power_W{0};        ///< Of a stage of constant power, > 0.
    Real end_current_A{0};  ///< Constant voltage ends here (taper end); 0 means the plan's.
    /// A rest lasts this long and balancing at most, > 0. Any other stage that lasts longer has
    /// failed; 0 sets no bound.
    Real longest_s{0};
    /// Balancing ends early when the groups are this close; 0 never. One group alone has nothing
    /// to be balanced with: there it ends at once.
    Real end_spread_V{0};
};

/// A plan: zones in order of temperature without overlap, and stages in order. Outside every zone
/// nothing is charged. Without stages it is CC-CV: one stage of constant voltage with the current,
/// voltage and end current that zone and plan say.
template <class Real>
struct ChargePlan {
    static constexpr int zone_capacity = 8;
    static constexpr int stage_capacity = 12;
    ChargeZone<Real> zones[zone_capacity]{};
    int zone_count{0};
    Real end_current_A{0};  ///< Full when the constant-voltage current has fallen to this.
    /// How far the temperature must be inside a gentler zone's neighbour before that neighbour
    /// alone decides again; until then the lesser of both holds.
    Real zone_hysteresis_K{0};
    ChargeStage<Real> stages[stage_capacity]{};
    int stage_count{0};
};

/// Number of stages a plan has, at least one.
template <class Real>
[[nodiscard]] inline int stage_count(const ChargePlan<Real>& plan) noexcept {
    return plan.stage_count < 1 ? 1 : plan.stage_count;
}

/// Stage `index` with the plan's end current where it has none of its own.
template <class Real>
[[nodiscard]] inline ChargeStage<Real> stage_at(const ChargePlan<Real>& plan, int index) noexcept {
    ChargeStage<Real> stage = plan.stage_count < 1 ? ChargeStage<Real>{} : plan.stages[index];
    if (!(stage.end_current_A > Real(0))) stage.end_current_A = plan.end_current_A;
    return stage;
}

/// The same plan for a cell `factor` times as large: every current and power grows with it.
template <class Real>
[[nodiscard]] inline ChargePlan<Real> scaled_plan(const ChargePlan<Real>& plan,
                                                  Real factor) noexcept {
    ChargePlan<Real> result = plan;
    result.end_current_A *= factor;
    for (int k = 0; k < result.zone_count; ++k)
        result.zones[k].current_A *= factor;
    for (int k = 0; k < result.stage_count; ++k) {
        result.stages[k].current_A *= factor;
        result.stages[k].power_W *= factor;
        result.stages[k].end_current_A *= factor;
    }
    return result;
}

/// The zone for a temperature, or null when charging is not allowed there.
template <class Real>
[[nodiscard]] inline const ChargeZone<Real>* zone_for(const ChargePlan<Real>& plan,
                                                      Real temperature_degC) noexcept {
    for (int k = 0; k < plan.zone_count; ++k) {
        const ChargeZone<Real>& zone = plan.zones[k];
        const bool below_top = k + 1 == plan.zone_count
                                   ? temperature_degC <= zone.temperature_max_degC
                                   : temperature_degC < zone.temperature_max_degC;
        if (temperature_degC >= zone.temperature_min_degC && below_top) return &zone;
    }
    return nullptr;
}

/// Where the temperature has been: the last `zone_hysteresis_K` of its way.
template <class Real>
struct ZoneSpan {
    Real low_degC{0};
    Real high_degC{0};
    bool started{false};
};

/// Follows the temperature: the span grows with it and is cut at its other end to the width of the
/// hysteresis. A stricter zone is entered at once, a gentler one only after the whole span is in
/// it.
template <class Real>
inline void follow_temperature(Real temperature_degC, Real hysteresis_K,
                               ZoneSpan<Real>& span) noexcept {
    if (!span.started) {
        span = {temperature_degC, temperature_degC, true};
        return;
    }
    if (temperature_degC < span.low_degC) span.low_degC = temperature_degC;
    if (temperature_degC > span.high_degC) span.high_degC = temperature_degC;
    if (span.low_degC < temperature_degC - hysteresis_K) {
        span.low_degC = temperature_degC - hysteresis_K;
    }
    if (span.high_degC > temperature_degC + hysteresis_K) {
        span.high_degC = temperature_degC + hysteresis_K;
    }
}

/// What the zones of a span of temperatures allow together.
template <class Real>
struct ZoneLimits {
    Real current_A{0};  ///< Least of all; 0 when charging is not allowed.
    Real voltage_V{0};  ///< Likewise.
    int first{-1};      ///< Zone of the lowest temperature.
    int last{-1};       ///< Zone of the highest; -1 when charging is not allowed.

    [[nodiscard]] bool allowed() const noexcept { return last >= 0; }
    [[nodiscard]] bool same_zones(const ZoneLimits& other) const noexcept {
        return first == other.first && last == other.last;
    }
};

/// The least that the zones from one temperature to another allow; nothing where one of them lies
/// outside every zone, or a gap lies between them.
template <class Real>
[[nodiscard]] inline ZoneLimits<Real> zone_limits(const ChargePlan<Real>& plan, Real low_degC,
                                                  Real high_degC) noexcept {
    const ChargeZone<Real>* const low = zone_for(plan, low_degC);
    const ChargeZone<Real>* const high = zone_for(plan, high_degC);
    if (low == nullptr || high == nullptr || high < low) return {};
    ZoneLimits<Real> result{low->current_A, low->voltage_V, static_cast<int>(low - plan.zones),
                            static_cast<int>(high - plan.zones)};
    for (const ChargeZone<Real>* zone = low + 1; zone <= high; ++zone) {
        if (zone->temperature_min_degC > (zone - 1)->temperature_max_degC) return {};
        if (zone->current_A < result.current_A) result.current_A = zone->current_A;
        if (zone->voltage_V < result.voltage_V) result.voltage_V = zone->voltage_V;
    }
    return result;
}

/// Checks the plan; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ChargePlan<Real>& plan) noexcept {
    using detail::finite;
    if (plan.zone_count < 1 || plan.zone_count > ChargePlan<Real>::zone_capacity) {
        return {Status::out_of_range, "zone_count", -1, static_cast<Real>(plan.zone_count),
                static_cast<Real>(ChargePlan<Real>::zone_capacity)};
    }
    if (!finite(plan.end_current_A))
        return {Status::not_finite, "end_current_A", -1, plan.end_current_A, Real(0)};
    for (int k = 0; k < plan.zone_count; ++k) {
        const ChargeZone<Real>& zone = plan.zones[k];
        if (!finite(zone.temperature_min_degC) || !finite(zone.temperature_max_degC) ||
            !finite(zone.current_A) || !finite(zone.voltage_V)) {
            return {Status::not_finite, "zones", k, zone.current_A, Real(0)};
        }
        if (!(zone.temperature_min_degC < zone.temperature_max_degC)) {
            return {Status::out_of_range, "zones.temperature_max_degC", k,
                    zone.temperature_max_degC, zone.temperature_min_degC};
        }
        if (k > 0 && zone.temperature_min_degC < plan.zones[k - 1].temperature_max_degC) {
            return {Status::not_increasing, "zones.temperature_min_degC", k,
                    zone.temperature_min_degC, plan.zones[k - 1].temperature_max_degC};
        }
        if (!(zone.current_A > plan.end_current_A)) {
            return {Status::out_of_range, "zones.current_A", k, zone.current_A, plan.end_current_A};
        }
        if (!(zone.voltage_V > Real(0)))
            return {Status::out_of_range, "zones.voltage_V", k, zone.voltage_V, Real(0)};
    }
    if (!(plan.end_current_A > Real(0)))
        return {Status::out_of_range, "end_current_A", -1, plan.end_current_A, Real(0)};
    if (!finite(plan.zone_hysteresis_K)) {
        return {Status::not_finite, "zone_hysteresis_K", -1, plan.zone_hysteresis_K, Real(0)};
    }
    if (plan.zone_hysteresis_K < Real(0) || plan.zone_hysteresis_K > Real(20)) {
        return {Status::out_of_range, "zone_hysteresis_K", -1, plan.zone_hysteresis_K,
                plan.zone_hysteresis_K < Real(0) ? Real(0) : Real(20)};
    }
    if (plan.stage_count < 0 || plan.stage_count > ChargePlan<Real>::stage_capacity) {
        return {Status::out_of_range, "stage_count", -1, static_cast<Real>(plan.stage_count),
                static_cast<Real>(ChargePlan<Real>::stage_capacity)};
    }
    for (int k = 0; k < plan.stage_count; ++k) {
        const ChargeStage<Real>& stage = plan.stages[k];
        const detail::BoundedField<Real> rows[] = {
            {"stages.current_A", stage.current_A, Real(0), Real(1e5)},
            {"stages.voltage_V", stage.voltage_V, Real(0), Real(10)},
            {"stages.power_W", stage.power_W, Real(0), Real(1e6)},
            {"stages.end_current_A", stage.end_current_A, Real(0), Real(1e5)},
            {"stages.longest_s", stage.longest_s, Real(0), Real(1e7)},
            {"stages.end_spread_V", stage.end_spread_V, Real(0), Real(1)},
        };
        const Finding<Real> outside = detail::first_outside(rows, k);
        if (outside.status != Status::ok) return outside;
        switch (stage.kind) {
            case StageKind::constant_current:
            case StageKind::constant_voltage:
                break;
            case StageKind::constant_power:
                if (!(stage.power_W > Real(0))) {
                    return {Status::out_of_range, "stages.power_W", k, stage.power_W, Real(0)};
                }
                break;
            case StageKind::rest:
            case StageKind::balancing:
                if (!(stage.longest_s > Real(0))) {
                    return {Status::out_of_range, "stages.longest_s", k, stage.longest_s, Real(0)};
                }
                break;
            default:
                return {Status::out_of_range, "stages.kind", k, static_cast<Real>(stage.kind),
                        Real(4)};
        }
    }
    return {};
}

}  // namespace voltkeel
