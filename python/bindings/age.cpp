#include "voltkeel/estimate/age.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bindings.hpp"
#include "voltkeel/estimate/charge_end.hpp"
#include "voltkeel/estimate/coulomb_counter.hpp"
#include "voltkeel/estimate/rest.hpp"
#include "voltkeel/io/age_of_log.hpp"
#include "voltkeel/io/cell.hpp"

namespace voltkeel::python {

namespace {

void bind_coulomb_counter(py::module_& module) {
    using Settings = CoulombCounterSettings<double>;
    py::class_<Settings> settings(module, "CoulombCounterSettings",
                                  "What the counter counts with.");
    add_keyword_constructor(settings);
    settings.def_readwrite("capacity_Ah", &Settings::capacity_Ah)
        .def_readwrite("coulombic_efficiency", &Settings::coulombic_efficiency,
                       "Share of the charge put in that stays.")
        .def_readwrite("self_discharge_per_s", &Settings::self_discharge_per_s)
        .def_readwrite("capacity_share_std", &Settings::capacity_share_std)
        .def_readwrite("current_offset_std_A", &Settings::current_offset_std_A)
        .def_readwrite("current_share_std", &Settings::current_share_std)
        .def_readwrite("longest_step_s", &Settings::longest_step_s);
    using Counter = CoulombCounter<double>;
    py::class_<Counter> counter(
        module, "CoulombCounter",
        "SOC by counting charge alone: the baseline that a filter has to beat. An error of the\n"
        "start stays, an error of the sensor adds up, and the spread says so.");
    counter.def(py::init([](const Settings& s) {
                    need(validate(s));
                    Counter made;
                    need(made.configure(s), "CoulombCounter");
                    return made;
                }),
                py::arg("settings"));
    counter.def(
        "start", [](Counter& c, double soc, double std) { need(c.start(soc, std), "start"); },
        py::arg("soc"), py::arg("soc_std"), "Start from a SOC (0..1) with a standard deviation.");
    counter.def(
        "step",
        [](Counter& c, double current_A, double dt_s) {
            return c.step({current_A, 0.0, 25.0, dt_s, 0.0});
        },
        py::arg("current_A"), py::arg("dt_s"),
        "Count one sample, positive when charging; returns SocEstimate.");
    counter.def_property_readonly("estimate", &Counter::estimate);
}

/// The detector and the table that it reads.
struct OwnedRestDetector {
    std::vector<OcvNode<double>> nodes;
    RestDetector<double> detector;
};

void bind_rest(py::module_& module) {
    using Settings = RestSettings<double>;
    py::class_<Settings> settings(module, "RestSettings", "Knobs of the recognition of rests.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("current_per_h", &Settings::current_per_h,
                       "Less, as a multiple of the capacity, is no current.")
        .def_readwrite("settle_s", &Settings::settle_s,
                       "At 20 degC and above; twice as long for each 15 K below.")
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V)
        .def_readwrite("hysteresis_std", &Settings::hysteresis_std)
        .def_readwrite("soc_std_most", &Settings::soc_std_most,
                       "What is known no better is no anchor.");
    py::class_<OwnedRestDetector> detector(
        module, "RestDetector",
        "Recognises a rest, and reads the SOC from the rested voltage: an anchor for the\n"
        "capacity, free of any counting.");
    detector.def(py::init([](const Cell& cell, const std::optional<Settings>& given) {
                     check(cell);
                     const Settings s = given.value_or(Settings{});
                     need(validate(s));
                     OwnedRestDetector made{ocv_nodes<double>(cell.ocv), {}};
                     const OcvTable<double> table{made.nodes.data(),
                                                  static_cast<int>(made.nodes.size()),
                                                  cell.ocv.reference_temperature_degC};
                     need(made.detector.configure(table, cell.capacity_Ah, s), "RestDetector");
                     return made;
                 }),
                 py::arg("cell"), py::arg("settings") = py::none());
    detector.def(
        "step",
        [](OwnedRestDetector& d, double i, double v, double t, double dt, double h) {
            return d.detector.step(i, v, t, dt, h);
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        py::arg("hysteresis") = 0.0,
        "Take one sample; True when soc and soc_std are those of a rested voltage. One that is no\n"
        "number ends the rest. hysteresis is h of the filter, -1..1, 0 where nothing is known.");
    detector.def_property_readonly("rested",
                                   [](const OwnedRestDetector& d) { return d.detector.rested(); });
    detector.def_property_readonly(
        "resting_s", [](const OwnedRestDetector& d) { return d.detector.resting_s(); });
    detector.def_property_readonly(
        "soc", [](const OwnedRestDetector& d) { return d.detector.soc(); },
        "Of the last rested voltage.");
    detector.def_property_readonly("soc_std",
                                   [](const OwnedRestDetector& d) { return d.detector.soc_std(); });
}

void bind_resistance_growth(py::module_& module) {
    using Settings = ResistanceGrowthSettings<double>;
    py::class_<Settings> settings(module, "ResistanceGrowthSettings", "Knobs of the growth.");
    add_keyword_constructor(settings);
    settings.def_readwrite("interval_s", &Settings::interval_s)
        .def_readwrite("model_log_std", &Settings::model_log_std)
        .def_readwrite("std_per_sqrt_day", &Settings::std_per_sqrt_day)
        .def_readwrite("initial_log_std", &Settings::initial_log_std)
        .def_readwrite("log_std_most", &Settings::log_std_most);
    using Growth = ResistanceGrowth<double>;
    py::class_<Growth> growth(
        module, "ResistanceGrowth",
        "Resistance of a cell against its tables, slowly followed: what remains when temperature\n"
        "and load have averaged out. 1 is the cell as it was tested.");
    growth.def(py::init([](const std::optional<Settings>& given) {
                   Growth made;
                   made.configure(given.value_or(Settings{}));
                   return made;
               }),
               py::arg("settings") = py::none());
    growth.def("step", &Growth::step, py::arg("log_scale"), py::arg("log_scale_std"),
               py::arg("dt_s"),
               "Take ln r of a filter and its standard deviation (SocEstimate.resistance_scale,\n"
               "log_scale_std). What is no number is left out.");
    growth.def_property_readonly("growth", &Growth::growth, "1 when new.");
    growth.def_property_readonly("log_growth_std", &Growth::log_growth_std);
    growth.def_property_readonly("looks", [](const Growth& g) { return g.state().looks; });
}

void bind_group_drift(py::module_& module) {
    using Drift = GroupDrift<double>;
    py::class_<Drift>(module, "GroupDrift", "What a group does against the others.")
        .def_readonly("soc_per_day", &Drift::soc_per_day, "Negative: it loses charge.")
        .def_readonly("soc_per_day_std", &Drift::soc_per_day_std)
        .def_readonly("capacity_share", &Drift::capacity_share,
                      "Its capacity is this share larger than the reference's.")
        .def_readonly("capacity_share_std", &Drift::capacity_share_std)
        .def_readonly("looks", &Drift::looks);
    using Fit = GroupDriftFit<double>;
    py::class_<Fit> fit(
        module, "GroupDriftFit",
        "How the SOC difference of a group moves: with time (a leak) and with SOC (another\n"
        "capacity), by least squares with forgetting.");
    fit.def(py::init([](double days_memory, double interval_h) {
                Fit made;
                need(made.configure(days_memory, interval_h), "GroupDriftFit");
                return made;
            }),
            py::arg("days_memory") = 30.0, py::arg("interval_h") = 1.0);
    fit.def("step", &Fit::step, py::arg("dt_s"), "Time goes on.");
    fit.def("look", &Fit::look, py::arg("soc_difference"), py::arg("difference_std"),
            py::arg("soc"), "A look at the group; looks nearer than the interval are left out.");
    fit.def_property_readonly("drift", &Fit::drift, "What is known so far, as GroupDrift.");
}

void bind_charge_end(py::module_& module) {
    using Settings = ChargeEndSettings<double>;
    py::class_<Settings> settings(module, "ChargeEndSettings", "How the end of a charge is told.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("voltage_V", &Settings::voltage_V, "At which the charge is held, of a cell.")
        .def_readwrite("end_current_A", &Settings::end_current_A, "At which it ends, of a cell.")
        .def_readwrite("tolerance_V", &Settings::tolerance_V, "Held from so far below on.")
        .def_readwrite("end_share", &Settings::end_share,
                       "The current may stop so much before its end, as a share.")
        .def_readwrite("temperature_min_degC", &Settings::temperature_min_degC,
                       "Colder cells are not full: common practice, no source.")
        .def_readwrite("full_soc_std", &Settings::full_soc_std, "How exactly full is met.");
    using Detector = ChargeEndDetector<double>;
    py::class_<Detector> detector(
        module, "ChargeEndDetector",
        "Recognises the end of a charge to full, where the SOC is known without counting.");
    detector.def(py::init([](const Settings& s) {
                     need(validate(s));
                     Detector made;
                     (void)made.configure(s);
                     return made;
                 }),
                 py::arg("settings"));
    detector.def("step", &Detector::step, py::arg("current_A"), py::arg("voltage_V"),
                 py::arg("temperature_degC"),
                 "Take one sample; True once, where the current of a full cell has stopped.");
    detector.def_property_readonly("soc", &Detector::soc, "1, for CapacityEstimator.anchor.");
    detector.def_property_readonly("soc_std", &Detector::soc_std);
}

void bind_age_of_log(py::module_& module) {
    using Settings = AgeSettings;
    py::class_<Settings> settings(module, "AgeSettings", "Knobs of what the age is read with.");
    add_keyword_constructor(settings);
    settings.def_readwrite("capacity", &Settings::capacity, "CapacitySettings.")
        .def_readwrite("resistance", &Settings::resistance, "ResistanceGrowthSettings.")
        .def_readwrite("rest", &Settings::rest, "RestSettings.")
        .def_readwrite("charge_end", &Settings::charge_end,
                       "ChargeEndSettings; None: the held voltage and the end current "
                       "of the cell's charge plan.");
    py::class_<AgeOfLog>(module, "AgeOfLog", "What a log shows of a cell's age.")
        .def_readonly("age", &AgeOfLog::age,
                      "CellAge after the log; what it does not show is as it was before.")
        .def_readonly("rests", &AgeOfLog::rests, "Whose voltage told the SOC.")
        .def_readonly("full_charges", &AgeOfLog::full_charges, "Charges that ended full.")
        .def_readonly("capacity_intervals", &AgeOfLog::capacity_intervals,
                      "Between rests and ends of charges, with enough charge in between.")
        .def_readonly("resistance_looks", &AgeOfLog::resistance_looks);
    module.def(
        "age_of_log",
        [](const Cell& cell, const Log& log, std::optional<double> initial_soc,
           double initial_soc_std, const std::optional<CellAge>& age,
           const std::optional<Settings>& given) {
            const py::gil_scoped_release release;
            ReplaySettings how;
            how.initial_soc = initial_soc;
            how.initial_soc_std = initial_soc_std;
            how.age = age.value_or(CellAge{});
            return age_of_log(cell, log, how, given.value_or(Settings{}));
        },
        py::arg("cell"), py::arg("log"), py::kw_only(), py::arg("initial_soc") = py::none(),
        py::arg("initial_soc_std") = 0.2, py::arg("age") = py::none(),
        py::arg("settings") = py::none(),
        "Follow the age along a log: the capacity between rests, each SOC read from the voltage at "
        "the end of the rest, and ends of charges to full; then the resistance from a filter that "
        "counts with this "
        "capacity.\n\nParameters\n----------\ncell : Cell as tested\nlog : Log\ninitial_soc, "
        "initial_soc_std : as in replay\nage : CellAge when the log begins; None: as tested\n"
        "settings : AgeSettings\n\nReturns\n-------\nAgeOfLog");
}

}  // namespace

void bind_age(py::module_& module) {
    bind_coulomb_counter(module);
    bind_rest(module);
    bind_resistance_growth(module);
    bind_group_drift(module);
    bind_charge_end(module);
    bind_age_of_log(module);
}

}  // namespace voltkeel::python
