#include <memory>

#include "bindings.hpp"
#include "use_around.hpp"
#include "voltkeel/estimate/sigma_filter.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel::python {

namespace {

class AnySigma {
  public:
    virtual ~AnySigma() = default;
    [[nodiscard]] virtual Status start(double soc, double soc_std, double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_under_load(double soc, double soc_std,
                                                  const UseAround<double>& use,
                                                  double temperature_degC) = 0;
    [[nodiscard]] virtual Status start_from_voltage(double voltage_V, double current_A,
                                                    double temperature_degC) = 0;
    virtual const SocEstimate<double>& step(const CellSample<double>& sample) = 0;
    [[nodiscard]] virtual const SocEstimate<double>& estimate() const = 0;
    [[nodiscard]] virtual ModelState state() const = 0;
    [[nodiscard]] virtual py::array_t<double> covariance() const = 0;
};

template <int Branches, bool Transfer>
class Sigma final : public AnySigma {
  public:
    Sigma(const Cell& cell, const SocFilterSettings<double>& settings) : tables_(cell) {
        need(validate(settings));
        need(filter_.configure(tables_.parameters(), settings), "cell");
    }
    [[nodiscard]] Status start(double soc, double soc_std, double temperature_degC) override {
        return filter_.start(soc, soc_std, temperature_degC);
    }
    [[nodiscard]] Status start_under_load(double soc, double soc_std, const UseAround<double>& use,
                                          double temperature_degC) override {
        return filter_.start_under_load(soc, soc_std, use, temperature_degC);
    }
    [[nodiscard]] Status start_from_voltage(double voltage_V, double current_A,
                                            double temperature_degC) override {
        return filter_.start_from_voltage(voltage_V, current_A, temperature_degC);
    }
    const SocEstimate<double>& step(const CellSample<double>& sample) override {
        return filter_.step(sample);
    }
    [[nodiscard]] const SocEstimate<double>& estimate() const override {
        return filter_.estimate();
    }
    [[nodiscard]] ModelState state() const override {
        const auto& s = filter_.state();
        return model_state(s.cell, filter_.estimate().soc, filter_.estimate().soc_std,
                           s.last_temperature_degC);
    }
    [[nodiscard]] py::array_t<double> covariance() const override { return covariance_of(filter_); }

  private:
    CellTables<double, Branches, Transfer> tables_;
    SigmaFilter<double, Branches, Transfer> filter_;
};

struct RuntimeSigma {
    std::unique_ptr<AnySigma> any;
};

}  // namespace

void bind_sigma_filter(py::module_& module) {
    using Settings = SocFilterSettings<double>;
    using State = RuntimeSigma;
    py::class_<State> filter(
        module, "SigmaFilter",
        "SOC of one cell by sigma points in place of derivatives: a cross-check of SocFilter with "
        "the same calls, for an OCV that bends much within the spread. Several times slower.");
    filter.def(
        py::init([](const Cell& cell, const std::optional<Settings>& given) {
            const Settings s = given ? *given : filter_settings(cell);
            return State{with_form(cell, [&](auto form) -> std::unique_ptr<AnySigma> {
                using Form = decltype(form);
                return std::make_unique<Sigma<Form::branches, Form::transfer>>(cell, s);
            })};
        }),
        py::arg("cell"), py::arg("settings") = py::none(),
        "A filter for a cell; it answers once it has been started. Without settings it takes "
        "filter_settings(cell).");
    filter.def(
        "start",
        [](State& f, double soc, double std, double t) {
            need(f.any->start(soc, std, t), "start");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("temperature_degC") = 25.0,
        "Start at rest from a known SOC (0..1) with a standard deviation.");
    filter.def(
        "start_under_load",
        [](State& f, double soc, double std, double mean_A, double t, double rms_A,
           std::optional<double> voltage_V, double current_A) {
            need(f.any->start_under_load(soc, std, use_around(mean_A, rms_A, voltage_V, current_A),
                                         t),
                 "start_under_load");
        },
        py::arg("soc"), py::arg("soc_std"), py::arg("mean_current_A"),
        py::arg("temperature_degC") = 25.0, py::kw_only(), py::arg("rms_current_A") = 0.0,
        py::arg("voltage_V") = py::none(), py::arg("current_A") = 0.0,
        "Start in the middle of use; see SocFilter.start_under_load.");
    filter.def(
        "start_from_voltage",
        [](State& f, double v, double i, double t) {
            need(f.any->start_from_voltage(v, i, t), "start_from_voltage");
        },
        py::arg("voltage_V"), py::arg("current_A") = 0.0, py::arg("temperature_degC") = 25.0,
        "Start from one voltage: at rest the OCV, under load with a wide spread.");
    filter.def(
        "step",
        [](State& f, double i, double v, double t, double dt) {
            return f.any->step({i, v, t, dt, 0.0});
        },
        py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"), py::arg("dt_s"),
        "Take one sample (current positive when charging) and return the SocEstimate.");
    filter.def(
        "run",
        [](State& f, const Log& log) {
            std::vector<double> soc(log.size());
            std::vector<double> soc_std(log.size());
            std::vector<std::uint32_t> bits(log.size());
            {
                const py::gil_scoped_release release;
                for (std::size_t k = 0; k < log.size(); ++k) {
                    const double dt_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0.0;
                    const auto& e = f.any->step(
                        {log.current_A[k], log.voltage_V[k], log.temperature_degC[k], dt_s, 0.0});
                    soc[k] = e.soc;
                    soc_std[k] = e.soc_std;
                    bits[k] = e.fault_bits;
                }
            }
            return py::make_tuple(to_array(soc), to_array(soc_std), to_array(bits));
        },
        py::arg("log"), "Run along a log; returns (soc, soc_std, fault_bits), each (n,).");
    filter.def_property_readonly(
        "estimate", [](const State& f) { return f.any->estimate(); }, "The last SocEstimate.");
    filter.def_property_readonly(
        "state", [](const State& f) { return f.any->state(); }, "The present ModelState.");
    filter.def_property_readonly(
        "covariance", [](const State& f) { return f.any->covariance(); },
        "(m, m) covariance of [soc, branch voltages, hysteresis, ln resistance scale].");
}

}  // namespace voltkeel::python
