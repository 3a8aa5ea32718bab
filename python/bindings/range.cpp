#include "bindings.hpp"
#include "voltkeel/io/pack_energy.hpp"

namespace voltkeel::python {

namespace {

void bind_usable_energy(py::module_& module) {
    py::class_<Draw<double>> draw(module, "Draw",
                                  "What the pack gives while it is emptied; one of both above 0.");
    add_keyword_constructor(draw);
    draw.def_readwrite("power_W", &Draw<double>::power_W, "At the terminals, drawn: >= 0.")
        .def_readwrite("current_A", &Draw<double>::current_A, "Of the pack, drawn: >= 0.");
    using Settings = UsableEnergySettings<double>;
    py::class_<Settings> settings(module, "UsableEnergySettings", "Knobs and surroundings.");
    add_keyword_constructor(settings);
    settings.def_readwrite("ambient_degC", &Settings::ambient_degC)
        .def_readwrite("soc_step", &Settings::soc_step, "Most of a group's SOC in a step.")
        .def_readwrite("voltage_step_V", &Settings::voltage_step_V)
        .def_readwrite("longest_step_s", &Settings::longest_step_s)
        .def_readwrite("longest_s", &Settings::longest_s)
        .def_readwrite("event_tolerance_s", &Settings::event_tolerance_s)
        .def_readwrite("max_steps", &Settings::max_steps)
        .def_readwrite("soc_sigmas", &Settings::soc_sigmas,
                       "The state is taken this many standard deviations off.")
        .def_readwrite("resistance_sigmas", &Settings::resistance_sigmas)
        .def_readwrite("capacity_sigmas", &Settings::capacity_sigmas);
    using Usable = UsableEnergy<double>;
    py::class_<Usable>(module, "UsableEnergy", "What the pack gave until its end.")
        .def_readonly("energy_Wh", &Usable::energy_Wh, "At the terminals, drawn.")
        .def_readonly("time_s", &Usable::time_s)
        .def_readonly("charge_Ah", &Usable::charge_Ah)
        .def_readonly("loss_Wh", &Usable::loss_Wh, "Heat in cells and links.")
        .def_readonly("end_voltage_V", &Usable::end_voltage_V)
        .def_readonly("end_current_A", &Usable::end_current_A)
        .def_readonly("reason", &Usable::reason, "LimitReason that ended it.")
        .def_readonly("power_missing", &Usable::power_missing, "No current gives the power.")
        .def_readonly("group", &Usable::group, "The group that ended it; -1: none.")
        .def_readonly("end_soc", &Usable::end_soc, "Of that group.")
        .def_readonly("end_temperature_degC", &Usable::end_temperature_degC)
        .def_readonly("steps", &Usable::steps)
        .def_readonly("reached", &Usable::reached);
    using Band = UsableEnergyBand<double>;
    py::class_<Band>(module, "UsableEnergyBand", "Usable energy with its band.")
        .def_readonly("central", &Band::central)
        .def_readonly("least_Wh", &Band::least_Wh)
        .def_readonly("most_Wh", &Band::most_Wh)
        .def_readonly("std_Wh", &Band::std_Wh);
    module.def(
        "usable_energy",
        [](const Pack& pack, const std::vector<GroupState>& groups, const Draw<double>& d,
           const Settings& s, double sigmas) { return usable_energy(pack, groups, d, s, sigmas); },
        py::arg("pack"), py::arg("groups"), py::arg("draw"),
        py::arg_v("settings", Settings{}, "UsableEnergySettings()"), py::arg("sigmas") = 1.96,
        "What a pack still gives at a draw until its weakest group ends it, with its band.\n\n"
        "Parameters\n----------\npack : Pack\n"
        "groups : GroupState of every group, string by string, or one for all; their standard "
        "deviations make the band\n"
        "draw : Draw, a power or a current\nsettings : UsableEnergySettings\n"
        "sigmas : half width of the band in standard deviations\n\n"
        "Returns\n-------\nUsableEnergyBand");
    module.def(
        "usable_energy",
        [](const Cell& cell, const GroupState& state, const Draw<double>& d, const Settings& s,
           double sigmas) { return usable_energy(cell, state, d, s, sigmas); },
        py::arg("cell"), py::arg("state"), py::arg("draw"),
        py::arg_v("settings", Settings{}, "UsableEnergySettings()"), py::arg("sigmas") = 1.96,
        "The same of one cell.");
}

void bind_consumption(py::module_& module) {
    using Settings = ConsumptionSettings<double>;
    py::class_<Settings> settings(module, "ConsumptionSettings", "Knobs of the consumption.");
    add_keyword_constructor(settings);
    settings.def_readwrite("fast_m", &Settings::fast_m, "Memory of what goes on now.")
        .def_readwrite("slow_m", &Settings::slow_m, "Memory of the habit.")
        .def_readwrite("start_Wh_per_km", &Settings::start_Wh_per_km,
                       "Expected before anything was driven; above 0.")
        .def_readwrite("start_std_share", &Settings::start_std_share)
        .def_readwrite("start_m", &Settings::start_m, "It counts as much as this way.");
    using Known = Consumption<double>;
    py::class_<Known> known(module, "Consumption", "What is known of the consumption.");
    add_keyword_constructor(known);
    known.def_readwrite("fast_Wh_per_km", &Known::fast_Wh_per_km)
        .def_readwrite("slow_Wh_per_km", &Known::slow_Wh_per_km)
        .def_readwrite("slow_std_Wh_per_km", &Known::slow_std_Wh_per_km, "Of the slow mean.")
        .def_readwrite("deviation_std_Wh_per_km", &Known::deviation_std_Wh_per_km,
                       "Of what goes on around the slow mean.")
        .def_readwrite("power_W", &Known::power_W, "Mean power, standstills included.")
        .def_readwrite("fast_m", &Known::fast_m, "Memory over which the deviation fades.");
    using Estimator = ConsumptionEstimator<double>;
    py::class_<Estimator>(module, "ConsumptionEstimator",
                          "Follows the consumption of a vehicle with a fast and a slow memory.")
        .def(py::init([](const Settings& s) {
                 need(validate(s));
                 auto estimator = std::make_unique<Estimator>();
                 need(estimator->configure(s), "settings");
                 return estimator;
             }),
             py::arg("settings"))
        .def(
            "step",
            [](Estimator& self, double energy_J, double distance_m, double dt_s) {
                need(self.step(energy_J, distance_m, dt_s), "energy_J, distance_m, dt_s");
            },
            py::arg("energy_J"), py::arg("distance_m"), py::arg("dt_s"),
            "One stretch: energy drawn (below 0 where it charged), way, time.")
        .def(
            "follow",
            [](Estimator& self, const Column& time, const Column& drawn, const Column& speed) {
                const std::vector<double> time_s = to_vector("time_s", time);
                const std::vector<double> drawn_W = to_vector("drawn_W", drawn);
                const std::vector<double> speed_m_per_s = to_vector("speed_m_per_s", speed);
                if (drawn_W.size() != time_s.size() || speed_m_per_s.size() != time_s.size())
                    throw Error("time_s, drawn_W and speed_m_per_s: different lengths");
                Estimator next = self;
                for (std::size_t k = 1; k < time_s.size(); ++k) {
                    const double dt_s = time_s[k] - time_s[k - 1];
                    const double way_m = 0.5 * (speed_m_per_s[k - 1] + speed_m_per_s[k]) * dt_s;
                    need(next.step(drawn_W[k] * dt_s, way_m, dt_s),
                         ("row " + std::to_string(k)).c_str());
                }
                self = next;
            },
            py::arg("time_s"), py::arg("drawn_W"), py::arg("speed_m_per_s"),
            "A whole trip: the power of a row is the mean over the step that ends in it, drawn "
            "positive; the speed is a straight line between rows.")
        .def_property_readonly("consumption", [](const Estimator& self) {
            Known now;
            need(self.read(now), "consumption");
            return now;
        });
    using Left = DistanceLeft<double>;
    py::class_<Left>(module, "DistanceLeft", "How far it goes.")
        .def_readonly("distance_m", &Left::distance_m)
        .def_readonly("least_m", &Left::least_m)
        .def_readonly("most_m", &Left::most_m)
        .def_readonly("mean_Wh_per_km", &Left::mean_Wh_per_km)
        .def_readonly("bounded", &Left::bounded, "False: the energy does not end.");
    module.def(
        "distance_left",
        [](const Known& now, double usable_Wh, double usable_std_Wh, double sigmas) {
            Left left;
            need(distance_left(now, usable_Wh, usable_std_Wh, left, sigmas),
                 "consumption, usable_Wh, usable_std_Wh, sigmas");
            return left;
        },
        py::arg("consumption"), py::arg("usable_Wh"), py::arg("usable_std_Wh") = 0.0,
        py::arg("sigmas") = 1.96,
        "How far an energy goes, with its band.\n\nReturns\n-------\nDistanceLeft");
}

}  // namespace

void bind_range(py::module_& module) {
    bind_usable_energy(module);
    bind_consumption(module);
}

}  // namespace voltkeel::python
