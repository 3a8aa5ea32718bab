// How far counting charge drifts when the current sensor reads low and the start is not known, and
// what the filter makes of the same readings. Truth, counted and filtered are printed side by side;
// the cell is invented. examples/02_truth_counted_filtered.py is the same in Python.
#include <cmath>
#include <cstdio>
#include <random>

#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/cell_file.hpp"

using namespace voltkeel;

int main() {
    const Cell cell = load_cell("examples/invented_cell.json");
    const CellTables<double, 2> tables(cell);
    const CellParameters<double, 2> parameters = tables.parameters();

    CellState<double, 2> truth;  // starts at 90 %
    truth.soc = 0.9;
    truth.resistance_scale = 1.3;  // an aged cell: 30 % more resistance than the tested one
    SocFilter<double, 2> filter;
    if (filter.configure(parameters) != Status::ok) return 1;
    if (filter.start(0.6, 0.2, 15.0) != Status::ok)
        return 1;  // told 60 %, and that it may be 20 points off
    double counted = 0.6;

    std::mt19937 random(7);
    std::normal_distribution<double> noise(0.0, 1.0);
    std::printf("  min  truth  counted  filtered   +-  resistance\n");
    for (int second = 0; second <= 5400; ++second) {
        // Manoeuvres, transit, idling; positive charges.
        const double load_A = second % 300 < 60 ? -9.0 : (second % 300 < 240 ? -3.0 : 0.0);
        step(parameters, {load_A, 1.0, 15.0}, truth);
        const double voltage_V =
            voltage_at(parameters, truth, load_A, 15.0).voltage_V + 0.003 * noise(random);
        const double read_A = load_A + 0.15 + 0.05 * noise(random);  // reads 0.15 A too much charge
        counted += soc_gain(parameters, read_A, 1.0);
        const SocEstimate<double>& estimate = filter.step({read_A, voltage_V, 15.0, 1.0});
        if (second % 900 == 0) {
            std::printf("%5d  %5.1f    %5.1f     %5.1f  %3.1f        %4.2f\n", second / 60,
                        100 * truth.soc, 100 * counted, 100 * estimate.soc, 100 * estimate.soc_std,
                        estimate.resistance_scale);
        }
    }
}
