#include "voltkeel/charge/plan.hpp"

#include <algorithm>

#include "bindings.hpp"
#include "voltkeel/io/charge_plan_file.hpp"

namespace voltkeel::python {

void bind_charge_plan(py::module_& module) {
    py::enum_<StageKind>(module, "StageKind", "What a stage of a charge does. Numbers are frozen.")
        .value("constant_current", StageKind::constant_current)
        .value("constant_voltage", StageKind::constant_voltage)
        .value("constant_power", StageKind::constant_power)
        .value("rest", StageKind::rest)
        .value("balancing", StageKind::balancing)
        .def_property_readonly(
            "message", [](StageKind kind) { return message(kind); }, "In plain words.");
    using Stage = ChargeStage<double>;
    py::class_<Stage> stage(
        module, "ChargeStage",
        "One stage of a charge, for one cell. Zero means what the zone or the plan says; rest and "
        "balancing last longest_s.");
    add_keyword_constructor(stage);
    stage.def_readwrite("kind", &Stage::kind)
        .def_readwrite("current_A", &Stage::current_A)
        .def_readwrite("voltage_V", &Stage::voltage_V)
        .def_readwrite("power_W", &Stage::power_W)
        .def_readwrite("end_current_A", &Stage::end_current_A)
        .def_readwrite("longest_s", &Stage::longest_s)
        .def_readwrite("end_spread_V", &Stage::end_spread_V);

    py::class_<ChargeZone<double>> zone(module, "ChargeZone",
                                        "Charge current and voltage between two temperatures.");
    add_keyword_constructor(zone);
    zone.def_readwrite("temperature_min_degC", &ChargeZone<double>::temperature_min_degC)
        .def_readwrite("temperature_max_degC", &ChargeZone<double>::temperature_max_degC)
        .def_readwrite("current_A", &ChargeZone<double>::current_A)
        .def_readwrite("voltage_V", &ChargeZone<double>::voltage_V);

    py::class_<ChargePlan<double>> plan(
        module, "ChargePlan", "A plan: zones of temperature and stages; without stages CC-CV.");
    add_keyword_constructor(plan);
    plan.def_readwrite("end_current_A", &ChargePlan<double>::end_current_A);
    plan.def_property(
        "zones",
        [](const ChargePlan<double>& self) {
            return std::vector<ChargeZone<double>>(self.zones, self.zones + self.zone_count);
        },
        [](ChargePlan<double>& self, const std::vector<ChargeZone<double>>& zones) {
            if (zones.empty() ||
                zones.size() > static_cast<std::size_t>(ChargePlan<double>::zone_capacity)) {
                throw Error("zones: has " + std::to_string(zones.size()) +
                            " zones, must have 1 to 8");
            }
            std::copy(zones.begin(), zones.end(), self.zones);
            self.zone_count = static_cast<int>(zones.size());
        },
        "list of 1 to 8 ChargeZone in order of temperature");
    plan.def_readwrite("zone_hysteresis_K", &ChargePlan<double>::zone_hysteresis_K);
    plan.def_property(
        "stages",
        [](const ChargePlan<double>& self) {
            return std::vector<ChargeStage<double>>(self.stages, self.stages + self.stage_count);
        },
        [](ChargePlan<double>& self, const std::vector<ChargeStage<double>>& stages) {
            if (stages.size() > static_cast<std::size_t>(ChargePlan<double>::stage_capacity)) {
                throw Error("stages: has " + std::to_string(stages.size()) +
                            " stages, must have at most 12");
            }
            std::copy(stages.begin(), stages.end(), self.stages);
            self.stage_count = static_cast<int>(stages.size());
        },
        "list of up to 12 ChargeStage in order; empty for CC-CV");

    using Description = ChargePlanDescription;
    py::class_<Description> description(module, "ChargePlanDescription",
                                        "A plan with its name and where it comes from.");
    add_keyword_constructor(description);
    description.def_readwrite("name", &Description::name)
        .def_readwrite("source", &Description::source)
        .def_readwrite("for_capacity_Ah", &Description::for_capacity_Ah)
        .def_readwrite("plan", &Description::plan);
    module.def("check_charge_plan", &check_charge_plan, py::arg("plan"),
               "Raise DataError, naming field, value and bound, unless the plan can be used.");
    module.def("plan_for", &plan_for, py::arg("description"), py::arg("capacity_Ah"),
               "The plan for a cell: currents and powers grow with its capacity where the file "
               "says so.");
    module.def("load_charge_plan", &load_charge_plan, py::arg("path"),
               "Read and check a plan file.");
    module.def("parse_charge_plan", &parse_charge_plan, py::arg("text"), py::arg("source"),
               "Read a plan from JSON text, as load_charge_plan does.");
    module.def("save_charge_plan", &save_charge_plan, py::arg("path"), py::arg("description"),
               "Write a plan file; it appears complete or not at all.");
}

}  // namespace voltkeel::python
