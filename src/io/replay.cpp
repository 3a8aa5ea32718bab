#include "voltkeel/io/replay.hpp"

#include <cmath>

#include "io/number_text.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/filter_settings.hpp"

namespace voltkeel {

namespace {

template <int Branches, bool Transfer>
SocTrace replay_with(const Cell& cell, const Log& log, const ReplaySettings& settings,
                     const std::function<bool(double)>& progress) {
    const CellTables<double, Branches, Transfer> tables(cell);
    SocFilter<double, Branches, Transfer> filter;
    SocFilterSettings<double> filter_knobs =
        settings.filter ? *settings.filter : filter_settings(cell);
    filter_knobs.trace_every_sample = true;  // every row is written
    const Finding<double> finding = validate(filter_knobs);
    if (finding.status != Status::ok) {
        throw Error(std::string(finding.field) + ": " + number_text(finding.value) +
                    " against the bound " + number_text(finding.bound) + ": " +
                    message(finding.status));
    }
    Status status = filter.configure(tables.parameters(), filter_knobs);
    if (status == Status::ok) {
        status = settings.initial_soc
                     ? filter.start(*settings.initial_soc, settings.initial_soc_std,
                                    log.temperature_degC.front())
                     : filter.start_from_voltage(log.voltage_V.front(), log.current_A.front(),
                                                 log.temperature_degC.front());
    }
    if (status != Status::ok) {
        throw Error("the filter cannot start (initial soc " +
                    number_text(settings.initial_soc.value_or(NAN)) + ", std " +
                    number_text(settings.initial_soc_std) +
                    ", each must be 0 .. 1): " + message(status));
    }

    SocTrace trace;
    trace.time_s = log.time_s;
    for (auto* column : {&trace.soc, &trace.soc_std, &trace.voltage_predicted_V,
                         &trace.innovation_V, &trace.innovation_std_V, &trace.resistance_scale}) {
        column->resize(log.size());
    }
    trace.fault_bits.resize(log.size());
    double core_degC = log.temperature_degC.front();
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (progress && k % 65536 == 0 &&
            !progress(static_cast<double>(k) / static_cast<double>(log.size()))) {
            throw Error("cancelled");
        }
        const double dt_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0.0;
        if (follows_core(cell.thermal) && k > 0) {
            const auto& at = filter.state().cell;
            const OcvPoint<double> ocv = ocv_at(filter.cell().ocv, at.soc, core_degC);
            const double heat =
                heat_W(log.current_A[k], log.voltage_V[k],
                       ocv.mean_V + at.hysteresis * ocv.half_gap_V, ocv.entropy_V_per_K, core_degC);
            core_degC = core_temperature_after(filter.cell().thermal, core_degC,
                                               log.temperature_degC[k - 1], log.temperature_degC[k],
                                               heat, dt_s);
        } else {
            core_degC = log.temperature_degC[k];
        }
        const SocEstimate<double>& estimate =
            filter.step({log.current_A[k], log.voltage_V[k], core_degC, dt_s});
        trace.soc[k] = estimate.soc;
        trace.soc_std[k] = estimate.soc_std;
        trace.voltage_predicted_V[k] = estimate.voltage_predicted_V;
        trace.innovation_V[k] = estimate.innovation_V;
        trace.innovation_std_V[k] = estimate.innovation_std_V;
        trace.resistance_scale[k] = estimate.resistance_scale;
        trace.fault_bits[k] = estimate.fault_bits;
    }
    const auto& state = filter.state();
    trace.update_count = state.update_count;
    trace.rejected_count = state.rejected_count;
    trace.reset_count = state.reset_count;
    trace.end = {trace.soc.back(),
                 trace.soc_std.back(),
                 {state.cell.branch_V, state.cell.branch_V + state.cell.lags},
                 state.cell.hysteresis,
                 state.cell.resistance_scale,
                 state.last_temperature_degC};
    return trace;
}

}  // namespace

SocTrace replay(const Cell& cell, const Log& log, const ReplaySettings& settings,
                const std::function<bool(double)>& progress) {
    if (log.size() == 0) throw Error(log.source + ": has no rows");
    check_log(log);
    Cell used = cell;
    if (settings.capacity_Ah) used.capacity_Ah = *settings.capacity_Ah;
    return with_form(used, [&](auto form) {
        return replay_with<decltype(form)::branches, decltype(form)::transfer>(used, log, settings,
                                                                               progress);
    });
}

void write_trace(const std::filesystem::path& path, const SocTrace& trace) {
    const std::vector<double> bits(trace.fault_bits.begin(), trace.fault_bits.end());
    write_csv(path,
              {"time_s", "soc", "soc_std", "voltage_predicted_V", "innovation_V",
               "innovation_std_V", "fault_bits"},
              {trace.time_s, trace.soc, trace.soc_std, trace.voltage_predicted_V,
               trace.innovation_V, trace.innovation_std_V, bits});
}

}  // namespace voltkeel
