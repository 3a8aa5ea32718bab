#include "voltkeel/io/cell.hpp"
#include "bindings.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/io/replay.hpp"

namespace voltkeel::python {

namespace {

/// The model of one cell, its branch count known only at run time.
class AnyModel {
  public:
    virtual ~AnyModel() = default;
    virtual void reset(const ModelState& state) = 0;
    virtual void step(double current_A, double dt_s, double temperature_degC) = 0;
    [[nodiscard]] virtual double voltage_V(double current_A, double temperature_degC) const = 0;
    [[nodiscard]] virtual ModelState state() const = 0;
    [[nodiscard]] virtual OcvPoint<double> ocv(double soc, double temperature_degC) const = 0;
    [[nodiscard]] virtual Status soc_from_ocv(double voltage_V, double temperature_degC,
                                              double hysteresis, double& soc) const = 0;
    [[nodiscard]] virtual py::dict resistance(double soc, double temperature_degC) const = 0;
};

template <int Branches, bool Transfer>
class Model final : public AnyModel {
  public:
    explicit Model(const Cell& cell) : tables_(cell), parameters_(tables_.parameters()) {}
    void reset(const ModelState& state) override {
        state_ = cell_state<Branches, Transfer>(state);
        temperature_degC_ = state.temperature_degC;
    }
    void step(double current_A, double dt_s, double temperature_degC) override {
        voltkeel::step(parameters_, {current_A, dt_s, temperature_degC}, state_);
        temperature_degC_ = temperature_degC;
    }
    [[nodiscard]] double voltage_V(double current_A, double temperature_degC) const override {
        return voltage_at(parameters_, state_, current_A, temperature_degC).voltage_V;
    }
    [[nodiscard]] ModelState state() const override {
        return model_state(state_, state_.soc, 0.0, temperature_degC_);
    }
    [[nodiscard]] OcvPoint<double> ocv(double soc, double temperature_degC) const override {
        return ocv_at(parameters_.ocv, soc, temperature_degC);
    }
    [[nodiscard]] Status soc_from_ocv(double voltage_V, double temperature_degC, double hysteresis,
                                      double& soc) const override {
        return voltkeel::soc_from_ocv(parameters_.ocv, voltage_V, temperature_degC, hysteresis,
                                      soc);
    }
    [[nodiscard]] py::dict resistance(double soc, double temperature_degC) const override {
        const auto node = resistance_at(parameters_.resistance, soc, temperature_degC).value;
        py::dict result;
        result["r0_ohm"] = node.r0_ohm;
        result["branch_ohm"] = std::vector<double>(node.branch_ohm, node.branch_ohm + Branches);
        result["branch_time_s"] =
            std::vector<double>(node.branch_time_s, node.branch_time_s + Branches);
        if constexpr (Transfer) {
            result["transfer_scale_V"] = node.transfer.scale_V;
            result["exchange_current_A"] = node.transfer.exchange_current_A;
            result["transfer_time_s"] = node.transfer.time_s;
        }
        return result;
    }

  private:
    CellTables<double, Branches, Transfer> tables_;
    CellParameters<double, Branches, Transfer> parameters_;
    CellState<double, Branches, Transfer> state_{};
    double temperature_degC_{25};
};

struct CellModel {
    std::unique_ptr<AnyModel> any;
    explicit CellModel(const Cell& cell) {
        any = with_form(cell, [&](auto form) -> std::unique_ptr<AnyModel> {
            return std::make_unique<Model<decltype(form)::branches, decltype(form)::transfer>>(
                cell);
        });
    }
};

void need_finite(const char* field, double value) {
    if (!std::isfinite(value)) throw Error(std::string(field) + ": is not a finite number");
}

/// A column of the length of the run, every value finite.
void need_rows(const char* field, const std::vector<double>& values, std::size_t rows) {
    if (values.size() != rows) {
        throw Error(std::string(field) + ": has " + std::to_string(values.size()) +
                    " values, time_s has " + std::to_string(rows));
    }
    for (std::size_t k = 0; k < rows; ++k) {
        need_finite((std::string(field) + "[" + std::to_string(k) + "]").c_str(), values[k]);
    }
}

}  // namespace

void bind_cell(py::module_& module) {
    py::class_<OcvCurve> ocv(
        module, "OcvCurve", "Open-circuit voltage as measured; every array has the length of soc.");
    add_keyword_constructor(ocv);
    ocv.def_readwrite("reference_temperature_degC", &OcvCurve::reference_temperature_degC);
    array_field(ocv, "soc", &OcvCurve::soc, "(n,) from 0 to 1");
    array_field(ocv, "discharge_V", &OcvCurve::discharge_V, "(n,) branch walked while discharging");
    array_field(ocv, "charge_V", &OcvCurve::charge_V, "(n,) branch walked while charging");
    array_field(ocv, "voltage_std_V", &OcvCurve::voltage_std_V, "(n,) standard deviation");
    array_field(ocv, "entropy_V_per_K", &OcvCurve::entropy_V_per_K, "(n,) dOCV/dT, or empty");
    array_field(ocv, "entropy_V_per_K_std", &OcvCurve::entropy_V_per_K_std,
                "(n,), empty: no test told");

    py::class_<BranchGrid> branch(module, "BranchGrid", "One RC branch over [temperature][soc].");
    add_keyword_constructor(branch);
    grid_field(branch, "resistance_ohm", &BranchGrid::resistance_ohm, "(t, s)");
    grid_field(branch, "resistance_ohm_std", &BranchGrid::resistance_ohm_std, "(t, s)");
    grid_field(branch, "time_s", &BranchGrid::time_s, "(t, s)");
    grid_field(branch, "time_s_std", &BranchGrid::time_s_std, "(t, s)");

    py::class_<ChargeTransferGrid> transfer(module, "ChargeTransferGrid",
                                            "Charge transfer over [temperature][soc].");
    add_keyword_constructor(transfer);
    grid_field(transfer, "scale_V", &ChargeTransferGrid::scale_V, "(t, s)");
    grid_field(transfer, "scale_V_std", &ChargeTransferGrid::scale_V_std, "(t, s)");
    grid_field(transfer, "exchange_current_A", &ChargeTransferGrid::exchange_current_A, "(t, s)");
    grid_field(transfer, "exchange_current_A_std", &ChargeTransferGrid::exchange_current_A_std,
               "(t, s)");
    grid_field(transfer, "time_s", &ChargeTransferGrid::time_s, "(t, s)");
    grid_field(transfer, "time_s_std", &ChargeTransferGrid::time_s_std, "(t, s)");

    py::class_<ModelNoise> noise(module, "ModelNoise",
                                 "How far the model is off on tests it was not fitted to.");
    add_keyword_constructor(noise);
    noise.def_readwrite("voltage_std_V", &ModelNoise::voltage_std_V)
        .def_readwrite("overvoltage_share_std", &ModelNoise::overvoltage_share_std)
        .def_readwrite("lasting_share", &ModelNoise::lasting_share)
        .def_readwrite("correlation_time_s", &ModelNoise::correlation_time_s)
        .def_readwrite("resistance_log_std", &ModelNoise::resistance_log_std)
        .def_readwrite("resistance_log_std_per_sqrt_h", &ModelNoise::resistance_log_std_per_sqrt_h)
        .def_readwrite("tested_current_A", &ModelNoise::tested_current_A,
                       "Largest that the resistances rest on; 0: not known.")
        .def_readwrite("untested_share_std", &ModelNoise::untested_share_std,
                       "Of a pulse's drop, for every doubling of the current beyond.");

    py::class_<ResistanceGrid> resistance(module, "ResistanceGrid",
                                          "Resistances as fitted, over [temperature][soc].");
    add_keyword_constructor(resistance);
    array_field(resistance, "temperature_degC", &ResistanceGrid::temperature_degC,
                "(t,) tested temperatures");
    array_field(resistance, "soc", &ResistanceGrid::soc, "(s,) from 0 to 1");
    grid_field(resistance, "r0_ohm", &ResistanceGrid::r0_ohm, "(t, s) ohmic resistance");
    grid_field(resistance, "r0_ohm_std", &ResistanceGrid::r0_ohm_std, "(t, s) standard deviation");
    list_field(resistance, "branches", &ResistanceGrid::branches,
               "list of 1 to 4 BranchGrid, fastest first (a copy in each direction)");
    resistance.def_readwrite("charge_transfer", &ResistanceGrid::charge_transfer,
                             "ChargeTransferGrid or None");

    py::class_<ChargeRiseFit> rise(module, "ChargeRiseFit",
                                   "Extra resistance to a charging current near full.");
    add_keyword_constructor(rise);
    rise.def_readwrite("soc_start", &ChargeRiseFit::soc_start)
        .def_readwrite("resistance_ohm", &ChargeRiseFit::resistance_ohm)
        .def_readwrite("resistance_ohm_std", &ChargeRiseFit::resistance_ohm_std)
        .def_readwrite("branch", &ChargeRiseFit::branch,
                       "That has it, from 0, the fastest; -1 is the slowest.")
        .def_readwrite("soc_start_std", &ChargeRiseFit::soc_start_std, "None: assumed");

    py::class_<ThermalFit> thermal(module, "ThermalFit",
                                   "Thermal masses and paths: core, case, surroundings.");
    add_keyword_constructor(thermal);
    thermal.def_readwrite("heat_capacity_J_per_K", &ThermalFit::heat_capacity_J_per_K)
        .def_readwrite("heat_capacity_J_per_K_std", &ThermalFit::heat_capacity_J_per_K_std)
        .def_readwrite("resistance_K_per_W", &ThermalFit::resistance_K_per_W)
        .def_readwrite("resistance_K_per_W_std", &ThermalFit::resistance_K_per_W_std)
        .def_readwrite("core_resistance_K_per_W", &ThermalFit::core_resistance_K_per_W,
                       "From core to case; 0 means one mass.")
        .def_readwrite("core_resistance_K_per_W_std", &ThermalFit::core_resistance_K_per_W_std)
        .def_readwrite("core_heat_capacity_J_per_K", &ThermalFit::core_heat_capacity_J_per_K,
                       "The core's part of heat_capacity_J_per_K.")
        .def_readwrite("core_heat_capacity_J_per_K_std",
                       &ThermalFit::core_heat_capacity_J_per_K_std)
        .def_readwrite("source", &ThermalFit::source);

    py::class_<CellWindow<double>> window(module, "CellWindow",
                                          "Voltage, SOC and temperature windows of one cell.");
    add_keyword_constructor(window);
    window.def_readwrite("voltage_min_V", &CellWindow<double>::voltage_min_V)
        .def_readwrite("voltage_max_V", &CellWindow<double>::voltage_max_V)
        .def_readwrite("soc_min", &CellWindow<double>::soc_min)
        .def_readwrite("soc_max", &CellWindow<double>::soc_max)
        .def_readwrite("charge_temperature_min_degC",
                       &CellWindow<double>::charge_temperature_min_degC)
        .def_readwrite("charge_temperature_max_degC",
                       &CellWindow<double>::charge_temperature_max_degC)
        .def_readwrite("discharge_temperature_min_degC",
                       &CellWindow<double>::discharge_temperature_min_degC)
        .def_readwrite("discharge_temperature_max_degC",
                       &CellWindow<double>::discharge_temperature_max_degC);

    py::class_<CurrentGrid> currents(
        module, "CurrentGrid",
        "Allowed currents for one duration, magnitudes over [temperature][soc].");
    add_keyword_constructor(currents);
    currents.def_readwrite("duration_s", &CurrentGrid::duration_s);
    array_field(currents, "temperature_degC", &CurrentGrid::temperature_degC, "(t,)");
    array_field(currents, "soc", &CurrentGrid::soc, "(s,)");
    grid_field(currents, "charge_A", &CurrentGrid::charge_A, "(t, s)");
    grid_field(currents, "discharge_A", &CurrentGrid::discharge_A, "(t, s)");

    py::class_<SourceFile> file(module, "SourceFile", "A file that a cell was made from.");
    add_keyword_constructor(file);
    file.def_readwrite("role", &SourceFile::role)
        .def_readwrite("name", &SourceFile::name)
        .def_readwrite("sha256", &SourceFile::sha256)
        .def_readwrite("rows", &SourceFile::rows, "in the file")
        .def_readwrite("rows_used", &SourceFile::rows_used,
                       "that the result rests on, see the schema of cell.json; None: not known")
        .def_readwrite("temperature_degC", &SourceFile::temperature_degC)
        .def_readwrite("current_offset_A", &SourceFile::current_offset_A)
        .def_readwrite("read_as", &SourceFile::read_as, "how, where not as the library writes logs")
        .def_readwrite("initial_soc", &SourceFile::initial_soc)
        .def_readwrite("initial_soc_std", &SourceFile::initial_soc_std, "None: counted, not fitted")
        .def_readwrite("residual_rms_V", &SourceFile::residual_rms_V);

    py::class_<Provenance> provenance(module, "Provenance",
                                      "Where the numbers of a cell come from.");
    add_keyword_constructor(provenance);
    provenance.def_readwrite("made_by", &Provenance::made_by)
        .def_readwrite("made_at", &Provenance::made_at)
        .def_readwrite("method", &Provenance::method)
        .def_readwrite("notes", &Provenance::notes);
    list_field(provenance, "files", &Provenance::files,
               "list of SourceFile (a copy in each direction)");

    py::class_<Cell> cell(module, "Cell", "One cell: everything a cell.json holds.");
    add_keyword_constructor(cell);
    cell.def_readwrite("name", &Cell::name)
        .def_readwrite("capacity_Ah", &Cell::capacity_Ah)
        .def_readwrite("capacity_Ah_std", &Cell::capacity_Ah_std)
        .def_readwrite("coulombic_efficiency", &Cell::coulombic_efficiency)
        .def_readwrite("coulombic_efficiency_std", &Cell::coulombic_efficiency_std,
                       "None: assumed, no test told")
        .def_readwrite("self_discharge_per_s", &Cell::self_discharge_per_s)
        .def_readwrite("hysteresis_rate", &Cell::hysteresis_rate)
        .def_readwrite("hysteresis_rate_std", &Cell::hysteresis_rate_std,
                       "None: assumed, no test told")
        .def_readwrite("ocv", &Cell::ocv)
        .def_readwrite("resistance", &Cell::resistance)
        .def_readwrite("charge_rise", &Cell::charge_rise)
        .def_readwrite("thermal", &Cell::thermal)
        .def_readwrite("noise", &Cell::noise)
        .def_readwrite("window", &Cell::window)
        .def_readwrite("charge", &Cell::charge)
        .def_readwrite("provenance", &Cell::provenance)
        .def("__repr__", [](const Cell& self) {
            return "<voltkeel.Cell '" + self.name + "', " + std::to_string(self.capacity_Ah) +
                   " Ah>";
        });
    list_field(cell, "current_limits", &Cell::current_limits,
               "list of CurrentGrid, rising duration (a copy in each direction)");
    module.def("check", py::overload_cast<const Cell&>(&check), py::arg("cell"),
               "Check that a cell can be used; raises DataError naming field, value and bound.");

    py::class_<ModelState> state(module, "ModelState",
                                 "State of a cell model: where limits and forecasts start from.");
    add_keyword_constructor(state);
    state.def_readwrite("soc", &ModelState::soc, "0..1")
        .def_readwrite("soc_std", &ModelState::soc_std)
        .def_readwrite("branch_V", &ModelState::branch_V,
                       "One per branch, then the charge transfer; empty means at rest.")
        .def_readwrite("hysteresis", &ModelState::hysteresis,
                       "-1 (discharge branch) .. 1 (charge branch)")
        .def_readwrite("resistance_scale", &ModelState::resistance_scale,
                       "1 for the cell that was tested")
        .def_readwrite("temperature_degC", &ModelState::temperature_degC)
        .def_readwrite("core_over_case_K", &ModelState::core_over_case_K,
                       "How much warmer the core (temperature_degC) is than the case.");

    py::class_<CellModel> model(module, "CellModel",
                                "The cell model: exact steps of any length at constant current.");
    model.def(py::init<const Cell&>(), py::arg("cell"), "A model of a cell, full and at rest.");
    model.def(
        "reset", [](CellModel& self, const ModelState& to) { self.any->reset(to); },
        py::arg("state"), "Set the state.");
    model.def_property_readonly(
        "state", [](const CellModel& self) { return self.any->state(); },
        "The present ModelState.");
    model.def(
        "step",
        [](CellModel& self, double current_A, double dt_s, double temperature_degC) {
            need_finite("current_A", current_A);
            need_finite("temperature_degC", temperature_degC);
            if (!(dt_s >= 0) || !std::isfinite(dt_s))
                throw Error("dt_s: must be a finite number, 0 or more");
            self.any->step(current_A, dt_s, temperature_degC);
            return self.any->voltage_V(current_A, temperature_degC);
        },
        py::arg("current_A"), py::arg("dt_s"), py::arg("temperature_degC") = 25.0,
        "Hold a current (A, positive charges) for dt_s and return the terminal voltage (V) at the "
        "end.");
    model.def(
        "run",
        [](CellModel& self, const Column& time_s, const Column& current_A,
           const Column& temperature_degC) {
            const auto t = to_vector("time_s", time_s);
            const auto current = to_vector("current_A", current_A);
            auto temperature = to_vector("temperature_degC", temperature_degC);
            if (temperature.size() == 1) temperature.assign(t.size(), temperature.front());
            need_rows("current_A", current, t.size());
            need_rows("temperature_degC", temperature, t.size());
            need_rows("time_s", t, t.size());
            for (std::size_t k = 1; k < t.size(); ++k) {
                if (!(t[k] >= t[k - 1])) {
                    throw Error("time_s[" + std::to_string(k) + "]: " + std::to_string(t[k]) +
                                " is before " + std::to_string(t[k - 1]));
                }
            }
            std::vector<double> voltage_V(t.size());
            std::vector<double> soc(t.size());
            for (std::size_t k = 0; k < t.size(); ++k) {
                self.any->step(current[k], k > 0 ? t[k] - t[k - 1] : 0.0, temperature[k]);
                voltage_V[k] = self.any->voltage_V(current[k], temperature[k]);
                soc[k] = self.any->state().soc;
            }
            return py::make_tuple(to_array(voltage_V), to_array(soc));
        },
        py::arg("time_s"), py::arg("current_A"), py::arg("temperature_degC"),
        "Run along a current; the current of a row flows in the interval that ends there.\n\n"
        "Parameters\n----------\ntime_s, current_A : (n,)\ntemperature_degC : (n,) or "
        "(1,)\n\nReturns\n-------\n(voltage_V (n,), soc (n,))");
    model.def(
        "ocv_V",
        [](const CellModel& self, const py::array_t<double>& soc, double temperature_degC,
           double hysteresis) {
            return py::vectorize([&](double s) {
                const OcvPoint<double> point = self.any->ocv(s, temperature_degC);
                return point.mean_V + hysteresis * point.half_gap_V;
            })(soc);
        },
        py::arg("soc"), py::arg("temperature_degC") = 25.0, py::arg("hysteresis") = 0.0,
        "Open-circuit voltage in V.");
    model.def(
        "ocv_slope_V",
        [](const CellModel& self, const py::array_t<double>& soc, double temperature_degC) {
            return py::vectorize(
                [&](double s) { return self.any->ocv(s, temperature_degC).slope_V; })(soc);
        },
        py::arg("soc"), py::arg("temperature_degC") = 25.0,
        "Slope of the mean open-circuit voltage, V per unit SOC.");
    model.def(
        "soc_from_ocv",
        [](const CellModel& self, double voltage_V, double temperature_degC, double hysteresis) {
            double soc = 0;
            const Status status =
                self.any->soc_from_ocv(voltage_V, temperature_degC, hysteresis, soc);
            if (status != Status::ok)
                throw Error("voltage_V: " + std::to_string(voltage_V) + ": " + message(status));
            return soc;
        },
        py::arg("voltage_V"), py::arg("temperature_degC") = 25.0, py::arg("hysteresis") = 0.0,
        "SOC at which the open-circuit voltage is voltage_V; raises DataError outside the table.");
    model.def(
        "resistance_at",
        [](const CellModel& self, double soc, double temperature_degC) {
            return self.any->resistance(soc, temperature_degC);
        },
        py::arg("soc"), py::arg("temperature_degC") = 25.0,
        "Resistances and time constants at a place, as a dict; with charge transfer also "
        "transfer_scale_V, exchange_current_A, transfer_time_s.");
    module.def(
        "resistance_with_std",
        [](const Cell& from, double soc, double temperature_degC) {
            const ResistanceStd found = resistance_with_std(from, soc, temperature_degC);
            const auto pair = [](const ValueStd& v) { return std::pair{v.value, v.std}; };
            const auto pairs = [&](const std::vector<ValueStd>& all) {
                std::vector<std::pair<double, double>> result;
                for (const ValueStd& v : all)
                    result.push_back(pair(v));
                return result;
            };
            py::dict result;
            result["r0_ohm"] = pair(found.r0_ohm);
            result["branch_ohm"] = pairs(found.branch_ohm);
            result["branch_time_s"] = pairs(found.branch_time_s);
            if (found.transfer_scale_V) {
                result["transfer_scale_V"] = pair(*found.transfer_scale_V);
                result["exchange_current_A"] = pair(*found.exchange_current_A);
                result["transfer_time_s"] = pair(*found.transfer_time_s);
            }
            result["tested"] = found.tested;
            return result;
        },
        py::arg("cell"), py::arg("soc"), py::arg("temperature_degC") = 25.0,
        "Resistances at a place as (value, standard deviation), as a dict. Beyond the tested "
        "temperatures (`tested` False) the standard deviation grows.");
}

}  // namespace voltkeel::python
