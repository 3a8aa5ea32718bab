#include <functional>

#include "bindings.hpp"
#include "voltkeel/simulate/balancing.hpp"
#include "voltkeel/simulate/closing.hpp"
#include "voltkeel/simulate/cooling.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel::python {

namespace {

/// A flat column of a run as (rows, per row).
template <class Type>
void table(Type& type, const char* name, std::vector<double> SimulationResult::*field,
           const char* doc) {
    type.def_property_readonly(
        name,
        [field](const SimulationResult& self) {
            const std::vector<double>& flat = self.*field;
            const auto rows = static_cast<py::ssize_t>(self.size());
            const py::ssize_t per_row = rows > 0 ? static_cast<py::ssize_t>(flat.size()) / rows : 0;
            return py::array_t<double>({rows, per_row}, flat.data());
        },
        doc);
}

template <class Type, class Struct>
void column(Type& type, const char* name, std::vector<double> Struct::*field, const char* doc) {
    type.def_property_readonly(
        name, [field](const Struct& self) { return to_array(self.*field); }, doc);
}

void bind_load(py::module_& module) {
    py::enum_<LoadKind>(module, "LoadKind", "Which of the four a load step holds.")
        .value("current", LoadKind::current)
        .value("power", LoadKind::power)
        .value("resistance", LoadKind::resistance)
        .value("voltage", LoadKind::voltage);
    py::class_<LoadStep> step(module, "LoadStep", "One step of a load, with limits.");
    add_keyword_constructor(step);
    step.def_readwrite("kind", &LoadStep::kind)
        .def_readwrite("current_A", &LoadStep::current_A, "Positive charges.")
        .def_readwrite("power_W", &LoadStep::power_W, "At the terminals, positive charges.")
        .def_readwrite("resistance_ohm", &LoadStep::resistance_ohm)
        .def_readwrite("voltage_V", &LoadStep::voltage_V)
        .def_readwrite("duration_s", &LoadStep::duration_s)
        .def_readwrite("voltage_max_V", &LoadStep::voltage_max_V, "Of the terminals.")
        .def_readwrite("voltage_min_V", &LoadStep::voltage_min_V)
        .def_readwrite("group_voltage_max_V", &LoadStep::group_voltage_max_V, "Of every group.")
        .def_readwrite("group_voltage_min_V", &LoadStep::group_voltage_min_V)
        .def_readwrite("end_current_A", &LoadStep::end_current_A,
                       "Ends the step when a limit has brought the current down to it; 0: never.")
        .def_readwrite("closed", &LoadStep::closed, "Contactors from here on; empty: as they are.");
    module.def("current_load", &current_load, py::arg("current_A"), py::arg("duration_s"),
               "A held current, positive charges.");
    module.def("power_load", &power_load, py::arg("power_W"), py::arg("duration_s"),
               "A held power at the terminals, positive charges.");
    module.def("resistance_load", &resistance_load, py::arg("resistance_ohm"),
               py::arg("duration_s"), "A resistor across the terminals.");
    module.def("voltage_load", &voltage_load, py::arg("voltage_V"), py::arg("duration_s"),
               "A source that holds the terminals.");
    module.def(
        "load_from_columns",
        [](LoadKind kind, const Column& time_s, const Column& value) {
            return load_from_columns(kind, to_vector("time_s", time_s), to_vector("value", value));
        },
        py::arg("kind"), py::arg("time_s"), py::arg("value"),
        "A load from columns.\n\nParameters\n----------\nkind : LoadKind.current (A) or "
        "LoadKind.power (W)\ntime_s : (n,) rising\nvalue : (n,) held since the row before; the "
        "first only tells when it starts\n\nReturns\n-------\nlist of LoadStep");
    module.def("read_load", &read_load, py::arg("path"),
               py::arg_v("settings", LogReadSettings{}, "LogReadSettings()"),
               "Read a load from a CSV file with the columns time_s and current_A or power_W.");
}

void bind_differences(py::module_& module) {
    py::class_<CellDifferences> differ(module, "CellDifferences",
                                       "One value per cell, or none: no difference.");
    add_keyword_constructor(differ);
    using D = CellDifferences;
    array_field(differ, "capacity_factor", &D::capacity_factor, "(cells,)");
    array_field(differ, "resistance_factor", &D::resistance_factor, "(cells,)");
    array_field(differ, "soc_offset", &D::soc_offset, "(cells,) at the start");
    array_field(differ, "leak_A", &D::leak_A, "(cells,)");
    array_field(differ, "temperature_offset_K", &D::temperature_offset_K,
                "(cells,) at the start, with the surroundings");
    using S = SpreadSettings;
    py::class_<S> spread(module, "SpreadSettings", "What cells are drawn from.");
    add_keyword_constructor(spread);
    spread.def_readwrite("seed", &S::seed)
        .def_readwrite("capacity_log_std", &S::capacity_log_std, "New cells: 0.01 to 0.03.")
        .def_readwrite("resistance_log_std", &S::resistance_log_std, "New cells: 0.1 to 0.2.")
        .def_readwrite("soc_std", &S::soc_std)
        .def_readwrite("leak_median_A", &S::leak_median_A)
        .def_readwrite("leak_log_std", &S::leak_log_std)
        .def_readwrite("temperature_std_K", &S::temperature_std_K)
        .def_readwrite("cut_std", &S::cut_std, "What lies further out is drawn again.");
    module.def("draw_differences", &draw_differences, py::arg("pack"), py::arg("settings"),
               "Draw the differences of every cell, the same on every machine for one seed.");
}

void bind_settings(py::module_& module) {
    py::class_<PackState> state(module, "PackState", "State of every cell of a pack.");
    state.def_readonly_static("lag_room", &PackState::lag_room, "Branch voltages kept per cell.");
    array_field(state, "soc", &PackState::soc, "(cells,)");
    array_field(state, "soc_carry", &PackState::soc_carry, "(cells,) rounding kept back");
    array_field(state, "branch_V", &PackState::branch_V, "(cells * lag_room,)");
    array_field(state, "hysteresis", &PackState::hysteresis, "(cells,) -1 .. 1");
    array_field(state, "core_degC", &PackState::core_degC, "(cells,)");
    array_field(state, "case_degC", &PackState::case_degC, "(cells,)");
    array_field(state, "ambient_degC", &PackState::ambient_degC, "(cells,) their surroundings");
    state.def_readwrite("bleeding", &PackState::bleeding, "Of each group.")
        .def_readwrite("closed", &PackState::closed, "Contactor of each string.")
        .def_readwrite("fuse_open", &PackState::fuse_open, "Of each string; empty: none.");
    array_field(state, "fuse_warmth", &PackState::fuse_warmth, "(strings,) 0 .. 1; empty: cold");
    using B = BalancingSettings;
    py::class_<B> balancing(module, "BalancingSettings", "When bleed resistors conduct.");
    add_keyword_constructor(balancing);
    balancing.def_readwrite("active", &B::active)
        .def_readwrite("threshold_V", &B::threshold_V, "On above the lowest group by this.")
        .def_readwrite("hysteresis_V", &B::hysteresis_V)
        .def_readwrite("voltage_min_V", &B::voltage_min_V)
        .def_readwrite("resting_current_A", &B::resting_current_A, "Not while more flows.")
        .def_readwrite("interval_s", &B::interval_s);
    using C = CutOffSettings;
    py::class_<C> cut(module, "CutOffSettings", "What ends a run.");
    add_keyword_constructor(cut);
    cut.def_readwrite("voltage", &C::voltage, "A group leaves the window of its cell file.")
        .def_readwrite("soc_min", &C::soc_min)
        .def_readwrite("soc_max", &C::soc_max)
        .def_readwrite("temperature_max_degC", &C::temperature_max_degC, "Of any core.")
        .def_readwrite("warm_degC", &C::warm_degC, "Every core is at least this warm.")
        .def_readwrite("ends_run", &C::ends_run, "Otherwise the next load step follows.");
    using S = SimulationSettings;
    py::class_<S> settings(module, "SimulationSettings", "How a run starts and goes on.");
    add_keyword_constructor(settings);
    settings.def_readwrite("soc", &S::soc)
        .def_readwrite("string_soc", &S::string_soc, "One per string instead.")
        .def_readwrite("hysteresis", &S::hysteresis)
        .def_readwrite("temperature_degC", &S::temperature_degC, "Of cells and surroundings.")
        .def_readwrite("string_temperature_degC", &S::string_temperature_degC,
                       "One per string instead.")
        .def_readwrite("differences", &S::differences)
        .def_readwrite("start", &S::start, "PackState to go on from, or None.")
        .def_readwrite("heat", &S::heat, "Otherwise temperatures stay.")
        .def_readwrite("each_cell", &S::each_cell, "Otherwise every group is one cell.")
        .def_readwrite("balancing", &S::balancing)
        .def_readwrite("cut_off", &S::cut_off)
        .def_readwrite("cooling_interval_s", &S::cooling_interval_s)
        .def_readwrite("output_interval_s", &S::output_interval_s,
                       "0: a row at the end of every load step.")
        .def_readwrite("record_groups", &S::record_groups)
        .def_readwrite("record_cells", &S::record_cells)
        .def_readwrite("voltage_tolerance_V", &S::voltage_tolerance_V, "Of one sub-step.")
        .def_readwrite("temperature_tolerance_K", &S::temperature_tolerance_K)
        .def_readwrite("longest_step_s", &S::longest_step_s);
}

void bind_result(py::module_& module) {
    using K = SimulationEventKind;
    py::enum_<K>(module, "SimulationEventKind", "What happened.")
        .value("voltage_min", K::voltage_min)
        .value("voltage_max", K::voltage_max)
        .value("soc_min", K::soc_min)
        .value("soc_max", K::soc_max)
        .value("temperature_max", K::temperature_max)
        .value("warm", K::warm)
        .value("power_not_available", K::power_not_available)
        .value("end_current", K::end_current)
        .value("fuse_rating", K::fuse_rating)
        .value("contactor_rating", K::contactor_rating)
        .value("making_current", K::making_current)
        .value("fuse_opened", K::fuse_opened)
        .def_property_readonly(
            "message", [](K kind) { return simulation_event_name(kind); }, "In plain words.");
    py::class_<SimulationEvent>(module, "SimulationEvent", "One event, with where it happened.")
        .def_readonly("time_s", &SimulationEvent::time_s)
        .def_readonly("kind", &SimulationEvent::kind)
        .def_readonly("string", &SimulationEvent::string, "-1: the pack.")
        .def_readonly("group", &SimulationEvent::group, "Within the string; -1: all of it.")
        .def_readonly("value", &SimulationEvent::value)
        .def_readonly("bound", &SimulationEvent::bound);
    using E = EnergyBalance;
    py::class_<E>(module, "EnergyBalance", "Where charge and energy went; energies in J.")
        .def_readonly("terminal_Ah", &E::terminal_Ah)
        .def_readonly("terminal_J", &E::terminal_J)
        .def_readonly("plant_J", &E::plant_J, "Taken at the terminals by the cooling plant.")
        .def_readonly("stored_J", &E::stored_J, "Open-circuit voltage times current.")
        .def_readonly("overvoltage_J", &E::overvoltage_J, "Lost in the cells.")
        .def_readonly("joint_J", &E::joint_J, "Lost in links, busbars, contactors and fuses.")
        .def_readonly("bleed_J", &E::bleed_J)
        .def_readonly("bleed_to_cells_J", &E::bleed_to_cells_J, "Of it into the cells as heat.")
        .def_readonly("reversible_J", &E::reversible_J, "Entropic heat, positive warms.")
        .def_readonly("heat_J", &E::heat_J, "Made in all cells.")
        .def_readonly("heat_kept_J", &E::heat_kept_J)
        .def_readonly("to_ambient_J", &E::to_ambient_J)
        .def_readonly("charge_error_Ah", &E::charge_error_Ah)
        .def_property_readonly("electric_error_J", &E::electric_error_J, "Rounding.")
        .def_property_readonly("heat_error_J", &E::heat_error_J, "Rounding.");
    using R = SimulationResult;
    py::class_<R> result(module, "SimulationResult", "A run: one row per output time.");
    result.def("__len__", &R::size)
        .def_readonly("string_names", &R::string_names)
        .def_readonly("group_string", &R::group_string, "String of each group.")
        .def_readonly("cell_group", &R::cell_group, "Group of each cell.");
    column(result, "time_s", &R::time_s, "(rows,)");
    column(result, "current_A", &R::current_A, "(rows,) of the pack, positive charges");
    column(result, "plant_power_W", &R::plant_power_W, "(rows,) of it taken by the cooling plant");
    column(result, "voltage_V", &R::voltage_V, "(rows,) 0 while no string is closed");
    column(result, "group_voltage_min_V", &R::group_voltage_min_V, "(rows,)");
    column(result, "group_voltage_mean_V", &R::group_voltage_mean_V, "(rows,)");
    column(result, "group_voltage_max_V", &R::group_voltage_max_V, "(rows,)");
    column(result, "soc_min", &R::soc_min, "(rows,) over the cells");
    column(result, "soc_mean", &R::soc_mean, "(rows,) weighed by capacity");
    column(result, "soc_max", &R::soc_max, "(rows,) over the cells");
    column(result, "core_min_degC", &R::core_min_degC, "(rows,) over the cells");
    column(result, "core_mean_degC", &R::core_mean_degC, "(rows,) over the cells");
    column(result, "core_max_degC", &R::core_max_degC, "(rows,) over the cells");
    column(result, "ambient_degC", &R::ambient_degC, "(rows,) mean of the cells' surroundings");
    table(result, "string_current_A", &R::string_current_A, "(rows, strings)");
    table(result, "string_voltage_V", &R::string_voltage_V, "(rows, strings) in the contactor");
    table(result, "group_voltage_V", &R::group_voltage_V, "(rows, groups)");
    table(result, "group_soc", &R::group_soc, "(rows, groups) weighed by capacity");
    table(result, "group_core_degC", &R::group_core_degC, "(rows, groups) warmest core");
    table(result, "cell_current_A", &R::cell_current_A, "(rows, cells)");
    table(result, "cell_soc", &R::cell_soc, "(rows, cells)");
    table(result, "cell_core_degC", &R::cell_core_degC, "(rows, cells)");
    table(result, "cell_case_degC", &R::cell_case_degC, "(rows, cells)");
    column(result, "bled_Ah", &R::bled_Ah, "(groups,)");
    column(result, "bled_J", &R::bled_J, "(groups,)");
    result.def_readonly("events", &R::events)
        .def_readonly("balance", &R::balance)
        .def_readonly("end", &R::end, "PackState to go on from.")
        .def_readonly("hottest_cell", &R::hottest_cell)
        .def_readonly("hottest_degC", &R::hottest_degC)
        .def_readonly("hottest_time_s", &R::hottest_time_s)
        .def_readonly("step_count", &R::step_count)
        .def_readonly("rejected_count", &R::rejected_count)
        .def(
            "columns",
            [](const R& self) {
                py::typing::Dict<py::str, py::array_t<double>> all;
                for (const auto& [name, values] : result_columns(self))
                    all[py::str(name)] = to_array(values);
                return all;
            },
            "Columns by name, one value a row each.")
        .def(
            "frame",
            [](const py::object& self) -> py::object {
                return py::module_::import("pandas").attr("DataFrame")(self.attr("columns")());
            },
            "The same as a pandas.DataFrame; needs pandas.");
}

}  // namespace

void bind_simulate(py::module_& module) {
    bind_load(module);
    bind_differences(module);
    bind_settings(module);
    bind_result(module);
    module.def("start_state", &start_state, py::arg("pack"),
               py::arg_v("settings", SimulationSettings{}, "SimulationSettings()"),
               "State that a run with these settings starts from.");
    module.def(
        "simulate",
        [](const Pack& pack, const std::vector<LoadStep>& load, const SimulationSettings& settings,
           std::optional<CoolingPlant*> cooling, const Progress<double>& progress) {
            SimulationSettings with = settings;
            if (cooling && *cooling != nullptr) with.cooling = std::ref(**cooling);
            const auto watch = keep_going(progress);
            const py::gil_scoped_release release;
            return simulate(pack, load, with, watch);
        },
        py::arg("pack"), py::arg("load"),
        py::arg_v("settings", SimulationSettings{}, "SimulationSettings()"),
        py::arg("cooling") = py::none(), py::arg("progress") = py::none(),
        "Run a load on a pack.\n\nParameters\n----------\npack : Pack\nload : list of LoadStep\n"
        "settings : SimulationSettings\ncooling : CoolingPlant or None: surroundings stay as they "
        "are\nprogress : callable(share) or None; returning False cancels\n\n"
        "Returns\n-------\nSimulationResult\n    Arrays, events, balances; frame() gives a data "
        "frame.\n\nRaises\n------\nDataError\n    For a pack, load or setting that cannot be used, "
        "or when cancelled.");
    module.def("result_columns", &result_columns, py::arg("result"),
               "Names and columns of a run, as write_simulation writes them.");
    module.def(
        "write_simulation",
        [](const std::filesystem::path& path, const SimulationResult& result,
           const std::optional<CoolingTrace>& cooling) {
            if (cooling) {
                write_simulation(path, result, *cooling);
            } else {
                write_simulation(path, result);
            }
        },
        py::arg("path"), py::arg("result"), py::arg("cooling") = py::none(),
        "Write the columns of a run as CSV, with those of its cooling (a CoolingTrace) beside "
        "them; "
        "the file appears complete or not at all.");
    using O = BalancingOutlook;
    py::class_<O>(module, "BalancingOutlook", "What balancing a string would gain and cost.")
        .def_readonly("string", &O::string)
        .def_readonly("usable_Ah", &O::usable_Ah, "As it is.")
        .def_readonly("balanced_Ah", &O::balanced_Ah, "The smallest group.")
        .def_readonly("gain_Ah", &O::gain_Ah)
        .def_readonly("bleed_Ah", &O::bleed_Ah, "All groups together.")
        .def_readonly("bleed_J", &O::bleed_J)
        .def_readonly("time_s", &O::time_s, "Of the group that needs longest.")
        .def_readonly("hottest_W", &O::hottest_W, "Of one resistor while it conducts.")
        .def_property_readonly(
            "group_bleed_Ah", [](const O& self) { return to_array(self.group_bleed_Ah); },
            "(groups of the string,)")
        .def_readonly("seen_V", &O::seen_V, "Spread of the rested voltages.")
        .def_readonly("threshold_soc", &O::threshold_soc, "What the threshold stands for.")
        .def_readonly("resolved_share", &O::resolved_share,
                      "Of the SOC range in which a monitor can tell the SOC step.");
    using M = BalancingOutlookSettings;
    py::class_<M> monitor(module, "BalancingOutlookSettings", "What is assumed of the monitor.");
    add_keyword_constructor(monitor);
    monitor.def_readwrite("threshold_V", &M::threshold_V)
        .def_readwrite("voltage_error_V", &M::voltage_error_V)
        .def_readwrite("soc_step", &M::soc_step, "Difference that is to be seen.");
    module.def("balancing_outlook", &balancing_outlook, py::arg("pack"), py::arg("state"),
               py::arg_v("differences", CellDifferences{}, "CellDifferences()"),
               py::arg_v("settings", BalancingOutlookSettings{}, "BalancingOutlookSettings()"),
               "What balancing every string would gain and cost, and whether its chemistry lets a "
               "monitor see the imbalance.\n\nReturns\n-------\nlist of BalancingOutlook, one for "
               "each string");
    using C = ClosingCheck;
    py::class_<C>(module, "ClosingCheck", "What closing a contactor would do at the first instant.")
        .def_readonly("difference_V", &C::difference_V,
                      "Of the open string to what it is joined to.")
        .def_readonly("current_A", &C::current_A, "Into the string at the instant of closing.")
        .def_readonly("limit_A", &C::limit_A)
        .def_readonly("allowed", &C::allowed, "No string goes above its own limit.")
        .def_readonly("difference_limit_V", &C::difference_limit_V)
        .def_property_readonly(
            "string_current_A", [](const C& self) { return to_array(self.string_current_A); },
            "(strings,) at that instant")
        .def_readonly("precharge", &C::precharge,
                      "PrechargeResult, or None beside a closed string.");
    module.def("check_closing", &check_closing, py::arg("pack"), py::arg("state"),
               py::arg("string"), py::arg("load_current_A") = 0.0, py::arg("link_voltage_V") = 0.0,
               "Check the closing of a string's contactor, and work out its precharge.");
    module.def("temperature_window", &temperature_window, py::arg("result"), py::arg("low_degC"),
               py::arg("high_degC"),
               "Whether all cores stayed in a window, and how long they did not.");
    module.def("warm_up", &warm_up, py::arg("pack"), py::arg("cooling"), py::arg("settings"),
               py::arg("target_degC"), py::arg("longest_s") = 86400.0,
               py::call_guard<py::gil_scoped_release>(),
               "How long a resting pack takes until its coldest core is warm.");
}

}  // namespace voltkeel::python
