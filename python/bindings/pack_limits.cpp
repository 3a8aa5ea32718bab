#include "voltkeel/io/pack_limits.hpp"
#include "bindings.hpp"
#include "voltkeel/io/pack_parts_file.hpp"
#include "voltkeel/limits/tracker.hpp"

namespace voltkeel::python {

namespace {

constexpr int largest_horizon_count = 16;
using Tracker = LimitTracker<double, largest_horizon_count>;
using Horizon = PackHorizonLimit<double>;

void bind_limits_of_pack(py::module_& module) {
    using Direction = PackDirectionLimit<double>;
    py::class_<Direction>(module, "PackDirectionLimit",
                          "What a pack is allowed in one direction for one horizon.")
        .def_readonly("current_A", &Direction::current_A, ">= 0 for charge, <= 0 for discharge.")
        .def_readonly("power_W", &Direction::power_W,
                      "At the terminals; what can be held to the end of the horizon.")
        .def_readonly("rest_voltage_V", &Direction::rest_voltage_V, "Now, without current.")
        .def_readonly("end_voltage_V", &Direction::end_voltage_V,
                      "At the end of the horizon with that current.")
        .def_readonly("reason", &Direction::reason)
        .def_readonly("binding_value", &Direction::binding_value,
                      "The bound that decides, in its own unit.")
        .def_readonly("group", &Direction::group, "Which group decides; -1: a component does.")
        .def_readonly("string", &Direction::string, "Its string; -1: the whole pack.")
        .def_readonly("component", &Direction::component, "Which component decides; -1: none.");
    py::class_<Horizon>(module, "PackHorizonLimit", "Both directions for one horizon.")
        .def_readonly("horizon_s", &Horizon::horizon_s, "inf: the continuous limit.")
        .def_readonly("charge", &Horizon::charge)
        .def_readonly("discharge", &Horizon::discharge);
    using Settings = PackLimitSettings<double>;
    py::class_<Settings> settings(module, "PackLimitSettings", "How careful the limits are.");
    add_keyword_constructor(settings);
    settings.def_readwrite("sigmas", &Settings::sigmas, "Standard deviations of margin.")
        .def_readwrite("flagged_soc_margin", &Settings::flagged_soc_margin,
                       "With a flagged voltage.")
        .def_readwrite("flagged_temperature_margin_K", &Settings::flagged_temperature_margin_K,
                       "With a flagged temperature.")
        .def_readwrite("flagged_current_share", &Settings::flagged_current_share,
                       "Of every limit, with a flagged current sensor.")
        .def_readwrite("search", &Settings::search,
                       "LimitSettings; its margins are added to those above.")
        .def_readwrite("every_group", &Settings::every_group,
                       "Try every group at the limit, not only those that come near.");
    py::class_<PackPart> part(module, "PackPart",
                              "A part beside the cells that the pack file does not hold.");
    add_keyword_constructor(part);
    part.def_readwrite("kind", &PackPart::kind, "LimitReason, fuse to driver.")
        .def_readwrite("string", &PackPart::string, "Name of the string; empty: the whole pack.")
        .def_readwrite("charge_A", &PackPart::charge_A, "Never more.")
        .def_readwrite("discharge_A", &PackPart::discharge_A, "Never more.")
        .def_readwrite("rated_A", &PackPart::rated_A, "Carried for ever.")
        .def_readwrite("i2t_A2s", &PackPart::i2t_A2s, "Of its maker at short times.")
        .def_readwrite("used_share", &PackPart::used_share, "Share of I2t and curve used.")
        .def_readwrite("warmth", &PackPart::warmth, "0 cold .. 1 at its end.");
    array_field(part, "curve_time_s", &PackPart::curve_time_s, "Maker's curve, rising.");
    array_field(part, "curve_current_A", &PackPart::curve_current_A, "Same length, falling.");
    module.def("check_pack_parts", &check_pack_parts, py::arg("parts"),
               "Check parts by themselves; raises DataError naming part, field, value and bound.");
    module.def("load_pack_parts", &load_pack_parts, py::arg("path"),
               "Read and check a file of parts; a list of PackPart.");
    module.def("parse_pack_parts", &parse_pack_parts, py::arg("text"), py::arg("source") = "memory",
               "Read parts from JSON text.");
    module.def("save_pack_parts", &save_pack_parts, py::arg("path"), py::arg("parts"),
               py::arg("origin"),
               "Write a file of parts, with where its numbers come from; the file appears complete "
               "or not at all.");
    py::class_<GroupState> group(module, "GroupState", "What is known of one group.");
    add_keyword_constructor(group);
    group.def_readwrite("state", &GroupState::state, "ModelState of one of its cells.")
        .def_readwrite("temperature_std_K", &GroupState::temperature_std_K)
        .def_readwrite("resistance_log_std", &GroupState::resistance_log_std)
        .def_readwrite("capacity_scale", &GroupState::capacity_scale, "1: as the tested cell.")
        .def_readwrite("capacity_log_std", &GroupState::capacity_log_std)
        .def_readwrite("voltage_flagged", &GroupState::voltage_flagged)
        .def_readwrite("temperature_flagged", &GroupState::temperature_flagged);
    module.def(
        "pack_limits",
        [](const Pack& pack, const std::vector<GroupState>& groups,
           const std::vector<double>& horizons_s, const std::vector<PackPart>& parts,
           const Settings& s, bool current_flagged) {
            return pack_limits(pack, groups, horizons_s, parts, s, current_flagged);
        },
        py::arg("pack"), py::arg("groups"),
        py::arg_v("horizons_s",
                  std::vector<double>{2, 10, 30, std::numeric_limits<double>::infinity()},
                  "(2.0, 10.0, 30.0, float('inf'))"),
        py::arg_v("parts", std::vector<PackPart>{}, "()"),
        py::arg_v("settings", Settings{}, "PackLimitSettings()"),
        py::arg("current_flagged") = false,
        "Largest charge and discharge current and power of a pack for each horizon, the group and "
        "what decides them.\n\n"
        "Parameters\n----------\npack : Pack\n"
        "groups : GroupState of every group, string by string, or one for all\n"
        "horizons_s : rising, each from 0 to 600, the last may be inf (continuous)\n"
        "parts : PackPart, what else carries the current\n"
        "current_flagged : the sensor of the pack's current\n\n"
        "Returns\n-------\nlist of PackHorizonLimit");
}

void bind_limit_map(py::module_& module) {
    py::class_<LimitMap>(module, "LimitMap",
                         "Limits over temperature (rows) and SOC (columns) for one horizon.")
        .def_readonly("horizon_s", &LimitMap::horizon_s)
        .def_property_readonly("temperature_degC",
                               [](const LimitMap& m) { return to_array(m.temperature_degC); })
        .def_property_readonly("soc", [](const LimitMap& m) { return to_array(m.soc); })
        .def_property_readonly("charge_A", [](const LimitMap& m) { return to_array(m.charge_A); })
        .def_property_readonly("discharge_A",
                               [](const LimitMap& m) { return to_array(m.discharge_A); })
        .def_property_readonly("charge_W", [](const LimitMap& m) { return to_array(m.charge_W); })
        .def_property_readonly("discharge_W",
                               [](const LimitMap& m) { return to_array(m.discharge_W); })
        .def_readonly("charge_reason", &LimitMap::charge_reason)
        .def_readonly("discharge_reason", &LimitMap::discharge_reason);
    module.def(
        "limit_map",
        [](const Cell& cell, const std::vector<double>& soc, const std::vector<double>& degC,
           double horizon_s, const ModelState& state, const LimitSettings<double>& s) {
            return limit_map(cell, soc, degC, horizon_s, state, s);
        },
        py::arg("cell"), py::arg("soc"), py::arg("temperature_degC"), py::arg("horizon_s") = 10.0,
        py::arg_v("state", ModelState{}, "ModelState()"),
        py::arg_v("settings", LimitSettings<double>{}, "LimitSettings()"),
        "Limits of one cell over SOC and temperature; SOC and temperature of `state` are not "
        "read.");
    module.def(
        "limit_map",
        [](const Pack& pack, const std::vector<double>& soc, const std::vector<double>& degC,
           double horizon_s, const GroupState& group, const std::vector<PackPart>& parts,
           const PackLimitSettings<double>& s) {
            return limit_map(pack, soc, degC, horizon_s, group, parts, s);
        },
        py::arg("pack"), py::arg("soc"), py::arg("temperature_degC"), py::arg("horizon_s") = 10.0,
        py::arg_v("group", GroupState{}, "GroupState()"),
        py::arg_v("parts", std::vector<PackPart>{}, "()"),
        py::arg_v("settings", PackLimitSettings<double>{}, "PackLimitSettings()"),
        "Limits of a pack whose groups are all alike, likewise.");
}

void bind_tracker(py::module_& module) {
    using Settings = TrackerSettings<double>;
    py::class_<Settings> settings(module, "TrackerSettings", "Knobs of the limits over time.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("opening_time_s", &Settings::opening_time_s,
                       "From nothing to what the limit is at present.")
        .def_readwrite("band", &Settings::band, "A limit opens when it gains this share.")
        .def_readwrite("grace_s", &Settings::grace_s, "From a window left to nothing.")
        .def_readwrite("recovery_ratio", &Settings::recovery_ratio,
                       "A used-up pulse recovers at rest in this many horizons.");
    py::class_<Tracker>(module, "LimitTracker",
                        "Limits over time: closing at once, opening at a rate, pulses that are "
                        "used up and recover.")
        .def(py::init([](const Settings& s) {
                 auto tracker = std::make_unique<Tracker>();
                 const Finding<double> finding = validate(s);
                 if (finding.status != Status::ok) {
                     throw Error(std::string(finding.field) + ": " + message(finding.status));
                 }
                 need(tracker->set(s), "settings");
                 return tracker;
             }),
             py::arg_v("settings", Settings{}, "TrackerSettings()"))
        .def("restart", &Tracker::restart, "Forget everything: the next limits are taken as is.")
        .def(
            "update",
            [](Tracker& self, const std::vector<Horizon>& raw, double current_A, double dt_s) {
                std::vector<Horizon> out(raw.size());
                need(self.update(raw.data(), static_cast<int>(raw.size()), current_A, dt_s,
                                 out.data()),
                     "limits (1 to 16), current_A and dt_s (0 to 10)");
                return out;
            },
            py::arg("limits"), py::arg("current_A"), py::arg("dt_s"),
            "One tick: limits found now, mean current since the last tick, its length.\n\n"
            "Returns\n-------\nlist of PackHorizonLimit: what may be told to a drive")
        .def(
            "charge_used",
            [](const Tracker& self, int horizon) {
                if (horizon < 0 || horizon >= largest_horizon_count)
                    throw py::index_error("no such horizon");
                return self.charge_used(horizon);
            },
            py::arg("horizon"), "Share of the pulse of a horizon (by its place) that is used.")
        .def(
            "discharge_used",
            [](const Tracker& self, int horizon) {
                if (horizon < 0 || horizon >= largest_horizon_count)
                    throw py::index_error("no such horizon");
                return self.discharge_used(horizon);
            },
            py::arg("horizon"), "Share of the pulse of a horizon (by its place) that is used.");
}

void bind_torque(py::module_& module) {
    using Drive = TorqueDrive<double>;
    py::class_<Drive> drive(module, "TorqueDrive", "A drive: converter, machine and shaft.");
    add_keyword_constructor(drive);
    drive.def_readwrite("torque_max_Nm", &Drive::torque_max_Nm, "Magnitude, both directions.")
        .def_readwrite("power_max_W", &Drive::power_max_W, "At the shaft.")
        .def_readwrite("speed_max_rad_s", &Drive::speed_max_rad_s, "Beyond: no torque.")
        .def_readwrite("efficiency", &Drive::efficiency, "Motoring, where there is no table.")
        .def_readwrite("regeneration_efficiency", &Drive::regeneration_efficiency)
        .def_readwrite("winding_loss_W_per_Nm2", &Drive::winding_loss_W_per_Nm2,
                       "Not in the efficiency; there at standstill too.")
        .def_readwrite("auxiliary_W", &Drive::auxiliary_W, "What the pack feeds besides.")
        .def_readwrite("auxiliary_share_braking", &Drive::auxiliary_share_braking,
                       "Share of it that is sure to be drawn while the drive brakes.")
        .def_readwrite("standstill_speed_rad_s", &Drive::standstill_speed_rad_s,
                       "Slower counts as this.");
    py::class_<EfficiencyGrid> grid(module, "EfficiencyGrid",
                                    "Efficiency over speed (rows) and torque (columns).");
    add_keyword_constructor(grid);
    array_field(grid, "speed_rad_s", &EfficiencyGrid::speed_rad_s, "Increasing.");
    array_field(grid, "torque_Nm", &EfficiencyGrid::torque_Nm, "Increasing.");
    grid_field(grid, "efficiency", &EfficiencyGrid::efficiency, "0.01 .. 1.");
    using Limit = TorqueLimit<double>;
    py::class_<Limit>(module, "TorqueLimit", "Torque limits at one speed.")
        .def_readonly("motoring_Nm", &Limit::motoring_Nm, ">= 0, with the rotation.")
        .def_readonly("regeneration_Nm", &Limit::regeneration_Nm, "<= 0, against the rotation.")
        .def_readonly("highest_Nm", &Limit::highest_Nm, ">= 0, in the shaft's coordinate.")
        .def_readonly("lowest_Nm", &Limit::lowest_Nm, "<= 0, in the shaft's coordinate.")
        .def_readonly("motoring_by_pack", &Limit::motoring_by_pack,
                      "The pack decides, not the drive.")
        .def_readonly("regeneration_by_pack", &Limit::regeneration_by_pack, "Likewise.");
    module.def(
        "torque_limits",
        [](const Drive& of, double charge_W, double discharge_W, double speed_rad_s,
           const std::optional<EfficiencyGrid>& motoring,
           const std::optional<EfficiencyGrid>& regeneration) {
            return torque_limits(of, charge_W, discharge_W, speed_rad_s,
                                 motoring ? &*motoring : nullptr,
                                 regeneration ? &*regeneration : nullptr);
        },
        py::arg("drive"), py::arg("charge_power_W"), py::arg("discharge_power_W"),
        py::arg("speed_rad_s"), py::arg("motoring") = py::none(),
        py::arg("regeneration") = py::none(),
        "Torque limits from power limits at a shaft speed.\n\n"
        "Parameters\n----------\ndrive : TorqueDrive\ncharge_power_W : >= 0\n"
        "discharge_power_W : <= 0\nspeed_rad_s : either sign\n"
        "motoring, regeneration : EfficiencyGrid in place of the numbers of the drive\n\n"
        "Returns\n-------\nTorqueLimit");
}

}  // namespace

void bind_pack_limits(py::module_& module) {
    bind_limits_of_pack(module);
    bind_limit_map(module);
    bind_tracker(module);
    bind_torque(module);
}

}  // namespace voltkeel::python
