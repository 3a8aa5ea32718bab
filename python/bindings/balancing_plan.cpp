#include "voltkeel/charge/balancing_plan.hpp"

#include <utility>

#include "bindings.hpp"

namespace voltkeel::python {

void bind_balancing_plan(py::module_& module) {
    py::enum_<BleedReason>(module, "BleedReason", "Why a group is bled or not. Numbers are frozen.")
        .value("bleed", BleedReason::bleed)
        .value("level", BleedReason::level)
        .value("flat", BleedReason::flat)
        .value("low_voltage", BleedReason::low_voltage)
        .value("invalid", BleedReason::invalid)
        .def_property_readonly(
            "message", [](BleedReason reason) { return message(reason); }, "In plain words.");
    using Group = BalancingGroup<double>;
    py::class_<Group> group(module, "BalancingGroup", "What is known of a group to be balanced.");
    add_keyword_constructor(group);
    group.def_readwrite("soc", &Group::soc)
        .def_readwrite("soc_std", &Group::soc_std)
        .def_readwrite("capacity_Ah", &Group::capacity_Ah)
        .def_readwrite("voltage_V", &Group::voltage_V)
        .def_readwrite("ocv_slope_V", &Group::ocv_slope_V)
        .def_readwrite("module", &Group::module)
        .def_readwrite("valid", &Group::valid);
    using Settings = BalancingPlanSettings<double>;
    py::class_<Settings> settings(module, "BalancingPlanSettings", "Knobs of the balancing plan.");
    add_keyword_constructor(settings);
    settings.def_readwrite("bleed_ohm", &Settings::bleed_ohm)
        .def_readwrite("module_heat_max_W", &Settings::module_heat_max_W)
        .def_readwrite("sigmas", &Settings::sigmas)
        .def_readwrite("soc_step_min", &Settings::soc_step_min)
        .def_readwrite("voltage_error_V", &Settings::voltage_error_V)
        .def_readwrite("soc_resolution", &Settings::soc_resolution)
        .def_readwrite("voltage_min_V", &Settings::voltage_min_V);
    using Bleed = GroupBleed<double>;
    py::class_<Bleed>(module, "GroupBleed", "What to do with a group.")
        .def_readonly("charge_Ah", &Bleed::charge_Ah)
        .def_readonly("resistor_s", &Bleed::resistor_s)
        .def_readonly("time_s", &Bleed::time_s)
        .def_readonly("share", &Bleed::share)
        .def_readonly("reason", &Bleed::reason);
    using Plan = BalancingPlan<double>;
    py::class_<Plan>(module, "BalancingPlan", "What comes of bleeding the groups.")
        .def_readonly("time_s", &Plan::time_s)
        .def_readonly("charge_Ah", &Plan::charge_Ah)
        .def_readonly("heat_J", &Plan::heat_J)
        .def_readonly("module_heat_W", &Plan::module_heat_W)
        .def_readonly("usable_Ah", &Plan::usable_Ah)
        .def_readonly("usable_after_Ah", &Plan::usable_after_Ah)
        .def_readonly("bleeding", &Plan::bleeding);
    module.def(
        "plan_balancing",
        [](const std::vector<Group>& groups, const Settings& s) {
            need(validate(s));
            std::vector<Bleed> bleeds(groups.size());
            Plan plan;
            const Status status = plan_balancing(groups.data(), static_cast<int>(groups.size()), s,
                                                 bleeds.data(), plan);
            if (status != Status::ok) {
                throw Error("groups: " + std::to_string(groups.size()) +
                            " of them, must be 1 to 1000, each with an SOC of -0.05 to 1.05, its "
                            "spread, a capacity and a voltage: " +
                            message(status));
            }
            return std::pair{plan, bleeds};
        },
        py::arg("groups"), py::arg_v("settings", Settings{}, "BalancingPlanSettings()"),
        "Which groups to bleed and how long, so that all are full at the same time.\n\n"
        "Parameters\n----------\ngroups : list of BalancingGroup, in series\n"
        "settings : BalancingPlanSettings\n\nReturns\n-------\n(BalancingPlan, list of "
        "GroupBleed)");
}

}  // namespace voltkeel::python
