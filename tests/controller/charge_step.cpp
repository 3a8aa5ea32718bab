// The control of a charge on a controller: supply, plan, control and balancing plan, with two
// groups of straight OCV behind a resistance as the pack. The pilot falls and the power goes on the
// way.

#include <cstdint>
#include <limits>

#include "print_bits.hpp"
#include "voltkeel/charge/balancing_plan.hpp"
#include "voltkeel/charge/control.hpp"

namespace {

voltkeel::ChargeControl<float> control;

voltkeel::ChargePlan<float> make_plan() {
    voltkeel::ChargePlan<float> plan;
    plan.zone_count = 2;
    plan.zones[0] = {0.0F, 10.0F, 10.0F, 4.1F};
    plan.zones[1] = {10.0F, 45.0F, 40.0F, 4.15F};
    plan.end_current_A = 2.0F;
    plan.zone_hysteresis_K = 2.0F;
    plan.stage_count = 2;
    plan.stages[0].kind = voltkeel::StageKind::constant_current;
    plan.stages[0].voltage_V = 4.0F;
    return plan;
}

voltkeel::ChargeControlSettings<float> make_settings() {
    voltkeel::ChargeControlSettings<float> settings;
    settings.series = 2;
    settings.parallel = 1;
    settings.capacity_Ah = 40.0F;
    settings.group_resistance_ohm = 0.002F;
    settings.voltage_max_V = 4.2F;
    settings.voltage_min_V = 2.5F;
    return settings;
}

voltkeel::Supply<float> make_supply() {
    voltkeel::Supply<float> supply;
    supply.ac.has_pilot = true;
    supply.ac.duty_cycle_percent = 16.0F;
    supply.ac.has_cable = true;
    supply.ac.proximity_ohm = 680.0F;
    supply.charger.voltage_max_V = 20.0F;
    supply.charger.current_max_A = 60.0F;
    supply.charger.power_max_W = 400.0F;
    supply.charger.efficiency.count = 2;
    supply.charger.efficiency.power_W[1] = 300.0F;
    supply.charger.efficiency.efficiency[0] = 0.7F;
    supply.charger.efficiency.efficiency[1] = 0.9F;
    return supply;
}

}  // namespace

int main() {
    voltkeel::Supply<float> supply = make_supply();
    if (voltkeel::validate(supply).status != voltkeel::Status::ok ||
        control.configure(make_plan(), make_settings()) != voltkeel::Status::ok ||
        control.start() != voltkeel::Status::ok) {
        puts0("set-up failed\n");
        return 1;
    }
    float soc[2] = {0.80F, 0.82F};
    float current_A = 0.0F;
    float highest_V = 0.0F;
    voltkeel::ChargeInput<float> in;
    voltkeel::ChargeRequest<float> out;
    in.allowed_A = 60.0F;
    in.dt_s = 1.0F;
    int ticks = 0;
    for (; ticks < 20000 && !control.over(); ++ticks) {
        supply.ac.duty_cycle_percent = ticks < 300 ? 16.0F : ticks < 360 ? 100.0F : 10.0F;
        if (voltkeel::supply_limits(supply, in.supply) != voltkeel::Status::ok) return 2;
        float volt[2] = {};
        for (int g = 0; g < 2; ++g) {
            soc[g] += current_A / (3600.0F * 40.0F);
            volt[g] = 3.3F + 0.85F * soc[g] + 0.002F * current_A;
        }
        in.measured = {volt[0], volt[1], volt[0] + volt[1], current_A, 20.0F, 22.0F, true,
                       true,    true};
        if (ticks == 500) in.measured.group_voltage_max_V = std::numeric_limits<float>::quiet_NaN();
        if (volt[1] > highest_V) highest_V = volt[1];
        if (control.step(in, out) != voltkeel::Status::ok) return 3;
        current_A = 0.99F * out.current_A;
        if (ticks % 200 == 0) {
            const float values[] = {out.current_A, out.voltage_V, out.remaining_s, volt[1],
                                    control.state().charge_As};
            print_bits(ticks / 10, values, 5);
        }
    }
    voltkeel::BalancingGroup<float> groups[2];
    voltkeel::GroupBleed<float> bleeds[2];
    voltkeel::BalancingPlan<float> balancing;
    for (int g = 0; g < 2; ++g)
        groups[g] = {soc[g], 0.001F, 40.0F, 4.1F, 0.85F, 0, true};
    if (voltkeel::plan_balancing(groups, 2, {}, bleeds, balancing) != voltkeel::Status::ok)
        return 4;
    const float values[] = {balancing.time_s, bleeds[1].charge_Ah, balancing.usable_after_Ah};
    print_bits(999, values, 3);
    // It must have worked, not only have done the same on both sides.
    if (out.reason != voltkeel::ChargeReason::taper_end || !(highest_V < 4.152F) ||
        balancing.bleeding != 1) {
        puts0("the charge did not end full\n");
        return 5;
    }
    return 0;
}
