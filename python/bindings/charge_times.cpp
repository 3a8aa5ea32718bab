#include "voltkeel/io/charge_times.hpp"

#include "bindings.hpp"
#include "charge_curve.hpp"
#include "voltkeel/io/taper_file.hpp"

namespace voltkeel::python {

namespace {

void bind_taper(py::module_& module) {
    using Settings = TaperSettings<double>;
    py::class_<Settings> settings(module, "TaperSettings", "Knobs of the taper learner.");
    add_keyword_constructor(settings);
    settings.def_readwrite("capacity_Ah", &Settings::capacity_Ah, "Of a cell.")
        .def_readwrite("memory_charges", &Settings::memory_charges)
        .def_readwrite("spread", &Settings::spread, "Share, until the charges tell.");
    using Time = TaperTime<double>;
    py::class_<Time>(module, "TaperTime", "Time left, from completed charges.")
        .def_readonly("time_s", &Time::time_s)
        .def_readonly("std_s", &Time::std_s)
        .def_readonly("charges", &Time::charges, "Completed ones behind it.")
        .def_readonly("this_charge", &Time::this_charge,
                      "The falls of the charge under way are in it. Neither: the forecast's own.");
    using Learner = TaperLearner<double>;
    py::class_<Learner>(module, "TaperLearner",
                        "How long the current takes to fall at the held voltage, learned from "
                        "completed charges.")
        .def(py::init([](const Settings& s) {
                 need(validate(s));
                 auto learner = std::make_unique<Learner>();
                 need(learner->configure(s), "settings");
                 return learner;
             }),
             py::arg("settings"))
        .def("begin", &Learner::begin, "A new charge; what was not completed is forgotten.")
        .def(
            "step",
            [](Learner& self, double current_A, bool holding, double dt_s) {
                need(self.step(current_A, holding, dt_s), "current_A, dt_s");
            },
            py::arg("current_A"), py::arg("holding"), py::arg("dt_s"),
            "One tick: current into a cell, whether the last voltage of the plan is held.")
        .def(
            "complete", [](Learner& self) { return self.complete() == Status::ok; },
            "The charge has ended by its end current. Returns whether it showed anything.")
        .def(
            "learn",
            [](Learner& self, const Log& log, double voltage_V, double end_current_A,
               double tolerance_V) {
                return learn_charge(self, log, voltage_V, end_current_A, tolerance_V);
            },
            py::arg("log"), py::arg("voltage_V"), py::arg("end_current_A"),
            py::arg("tolerance_V") = 0.01,
            "Learn from a logged charge of one cell. Returns whether it ended so.")
        .def(
            "follow",
            [](Learner& self, const Log& log, double voltage_V, double tolerance_V) {
                follow_charge(self, log, voltage_V, tolerance_V);
            },
            py::arg("log"), py::arg("voltage_V"), py::arg("tolerance_V") = 0.01,
            "Follow the charge of one cell that the log ends with, not completed yet.")
        .def(
            "time_left_as_now",
            [](const Learner& self, double end_A) {
                Time left;
                const Status status = self.time_left_as_now(end_A, left);
                if (status != Status::ok) throw Error(std::string("end_A: ") + message(status));
                return left;
            },
            py::arg("end_A"), "Time to a lower current, from the charge under way alone.")
        .def(
            "time_left",
            [](const Learner& self, double from_A, double end_A) {
                Time left;
                const Status status = self.time_left(from_A, end_A, left);
                if (status != Status::ok)
                    throw Error(std::string("from_A, end_A: ") + message(status));
                return left;
            },
            py::arg("from_A"), py::arg("end_A"), "Time from one current to a lower one.")
        .def_property_readonly("charges", [](const Learner& self) { return self.state().charges; });
    using Learned = LearnedTaper;
    py::class_<Learned> learned(module, "LearnedTaper",
                                "What completed charges of a cell showed of the taper, and the "
                                "voltage and temperatures it holds for; kept in a file.");
    add_keyword_constructor(learned);
    learned.def_readwrite("cell", &Learned::cell, "Name of the cell that was charged.")
        .def_readwrite("settings", &Learned::settings, "TaperSettings, with the cell's capacity.")
        .def_readwrite("voltage_V", &Learned::voltage_V, "At which the cell was held.")
        .def_readwrite("provenance", &Learned::provenance, "made_by, made_at and the logs.")
        .def_readonly("temperature_min_degC", &Learned::temperature_min_degC,
                      "Lowest while it was held, over all charges.")
        .def_readonly("temperature_max_degC", &Learned::temperature_max_degC, "Highest.")
        .def_property_readonly("charges", [](const Learned& self) { return self.state.charges; })
        .def(
            "learn",
            [](Learned& self, const Log& log, double end_current_A, double tolerance_V) {
                return learn_charge(self, log, end_current_A, tolerance_V);
            },
            py::arg("log"), py::arg("end_current_A"), py::arg("tolerance_V") = 0.01,
            "Learn from a logged charge of one cell that was held at voltage_V. Returns whether it "
            "ended by its end current; nothing changes otherwise.")
        .def(
            "learner", [](const Learned& self) { return taper_learner(self); },
            "TaperLearner that goes on from here.");
    module.def("check_taper", &check_taper, py::arg("taper"),
               "Raise DataError, naming field, value and bound, unless the taper can be used.");
    module.def(
        "check_taper_fits", &check_taper_fits, py::arg("taper"), py::arg("plan"),
        py::arg("tolerance_V") = 0.01,
        "Raise DataError unless the plan ends at the voltage that the taper was learned at.");
    module.def("held_voltage_V", &held_voltage_V, py::arg("plan"),
               "Voltage at which a plan's charge ends.");
    module.def("load_taper", &load_taper, py::arg("path"), "Read and check a taper file.");
    module.def("parse_taper", &parse_taper, py::arg("text"), py::arg("source"),
               "Read a learned taper from JSON text, as load_taper does.");
    module.def("save_taper", &save_taper, py::arg("path"), py::arg("taper"),
               "Write a taper file; it appears complete or not at all.");
    module.def(
        "learned_time",
        [](const Learner& taper, const ChargeForecast<double>& forecast, double measured_A,
           double end_A) {
            Time left;
            (void)learned_time(taper, forecast, measured_A, left, end_A);
            return left;
        },
        py::arg("taper"), py::arg("forecast"), py::arg("measured_A") = 0.0, py::arg("end_A") = 0.0,
        "A forecast with the taper that completed charges have shown; where they have not, its own "
        "weighed with what the charge under way has shown.\n\n"
        "Parameters\n----------\ntaper : TaperLearner\nforecast : ChargeForecast to full\n"
        "measured_A : of a cell now, where it is at the held voltage already\n"
        "end_A : at which the charge ends, of a cell; 0: that of the forecast, which has none of "
        "its "
        "own where it takes the cell for full already\n\n"
        "Returns\n-------\nTaperTime");
}

}  // namespace

void bind_charge_times(py::module_& module) {
    using Doubt = ChargeDoubt<double>;
    py::class_<Doubt> doubt(module, "ChargeDoubt", "What is doubtful about a charge.");
    add_keyword_constructor(doubt);
    doubt.def_readwrite("soc_std", &Doubt::soc_std, "Of the SOC at the start, from the filter.")
        .def_readwrite("resistance_log_std", &Doubt::resistance_log_std,
                       "Of the logarithm of the resistance scale.")
        .def_readwrite("capacity_log_std", &Doubt::capacity_log_std)
        .def_readwrite("measured_current_A", &Doubt::measured_current_A,
                       "Into a cell now, while it charges; 0: at rest or not known.")
        .def_readwrite("sigmas", &Doubt::sigmas, "Half width of the band; 1.96: 95 %.")
        .def_readwrite("step_s", &Doubt::step_s, "Longest step at the ends of the band.");
    using Band = ChargeTimeBand<double>;
    py::class_<Band>(module, "ChargeTimeBand", "A forecast with its band.")
        .def_readonly("central", &Band::central, "ChargeForecast from the state as it is.")
        .def_readonly("earliest_s", &Band::earliest_s)
        .def_readonly("latest_s", &Band::latest_s,
                      "inf where the target may not be reached at all.")
        .def_readonly("std_s", &Band::std_s)
        .def_readonly("steps", &Band::steps, "Of all runs together: what it cost.");
    py::class_<ChargeCase> what(module, "ChargeCase", "What a charge is asked about.");
    add_keyword_constructor(what);
    what.def_readwrite("ambient_degC", &ChargeCase::ambient_degC, "Surroundings, held.")
        .def_readwrite("target_soc", &ChargeCase::target_soc, "None: full by the plan.")
        .def_readwrite("supply_current_A", &ChargeCase::supply_current_A,
                       "Most that flows into a cell; 0: as much as the plan asks.")
        .def_readwrite("supply", &ChargeCase::supply, "PackSupply, or None.")
        .def_readwrite("within_limits", &ChargeCase::within_limits,
                       "Keep to the charge temperatures and the highest SOC of the window, the "
                       "maker's table of lasting currents and, of a pack, what its parts carry for "
                       "ever.")
        .def_readwrite("parts", &ChargeCase::parts, "PackPart, of a pack, beside its file's.")
        .def_readwrite("settings", &ChargeCase::settings, "ForecastSettings; steps of 10 s.");
    py::class_<ChargeTimeOutlook>(module, "ChargeTimeOutlook",
                                  "A time with its band, how it ended, and its curve.")
        .def_readonly("band", &ChargeTimeOutlook::band)
        .def_property_readonly("message",
                               [](const ChargeTimeOutlook& o) { return message(o.status); })
        .def_property_readonly(
            "curve", [](const ChargeTimeOutlook& o) { return curve_columns(o.curve); }, curve_doc);
    module.def("charge_time_band", &charge_time_band, py::arg("cell"), py::arg("state"),
               py::arg("plan"), py::arg("what"), py::arg("doubt"),
               "Time until full or until an SOC, with the band that the doubt about the state "
               "leaves.\n\n"
               "Parameters\n----------\ncell : Cell\nstate : ModelState\nplan : ChargePlan\n"
               "what : ChargeCase, surroundings, target and supply\n"
               "doubt : ChargeDoubt, standard deviations of SOC, resistance and capacity\n\n"
               "Returns\n-------\nChargeTimeOutlook");
    using Asked = Departure<double>;
    py::class_<Asked> asked(module, "Departure", "When a charge must be ready.");
    add_keyword_constructor(asked);
    asked.def_readwrite("ready_s", &Asked::ready_s, "From now.")
        .def_readwrite("target_soc", &Asked::target_soc, "0: full by the plan.")
        .def_readwrite("doubt", &Asked::doubt, "In time at the late end of its band.")
        .def_readwrite("tolerance", &Asked::tolerance, "Of the time, as a share of ready_s.")
        .def_readwrite("max_turns", &Asked::max_turns, "Currents that are tried at most.");
    using Found = DepartureCharge<double>;
    py::class_<Found>(module, "DepartureCharge", "The charge that is ready in time.")
        .def_readonly("current_A", &Found::current_A, "Of one cell.")
        .def_readonly("charge", &Found::charge, "ChargeTimeBand with that current.")
        .def_readonly("turns", &Found::turns)
        .def_readonly("steps", &Found::steps);
    py::class_<DepartureOutlook>(module, "DepartureOutlook",
                                 "The least current that is ready in time, and its curve.")
        .def_readonly("departure", &DepartureOutlook::departure)
        .def_property_readonly("in_time",
                               [](const DepartureOutlook& o) { return o.status == Status::ok; })
        .def_property_readonly("message",
                               [](const DepartureOutlook& o) { return message(o.status); })
        .def_property_readonly(
            "curve", [](const DepartureOutlook& o) { return curve_columns(o.curve); }, curve_doc);
    module.def(
        "least_charge_current",
        [](const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
           const ChargeCase& charge, const Departure<double>& departure) {
            return least_charge_current(cell, state, plan, charge, departure);
        },
        py::arg("cell"), py::arg("state"), py::arg("plan"), py::arg("what"), py::arg("departure"),
        "The least current with which the late end of the band is ready by a departure; where even "
        "the highest is too late, that one, and in_time is false. The target is that of "
        "`departure`.\n\nReturns\n-------\nDepartureOutlook");
    module.def("charge_efficiency", &charge_efficiency<double>, py::arg("forecast"),
               py::arg("cells"),
               "Share of the energy from the socket that stays in the cells (series times "
               "parallel); 0 without a socket.");
    bind_taper(module);
    module.def("charge_cost", &charge_cost<double>, py::arg("forecast"), py::arg("price_per_kWh"),
               "What the energy from the socket costs, in the currency of the price.");
}

}  // namespace voltkeel::python
