"""Write pybamm_ocv.csv and pybamm_spm.csv beside this file; run by hand, never by the tests.

    PYBAMM_DISABLE_TELEMETRY=true python tests/reference/make_pybamm_tables.py

PyBaMM 26.10.1.1, parameter sets Prada2013 (LFP, open-circuit functions of Afshar 2017 and Chen
2020) and Sulzer2019 (lead, electrode potentials of Bode 1977).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pybamm

HERE = Path(__file__).parent
SOC = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0)
EMPTY_DENSITY, FULL_DENSITY = 1120.0, 1300.0
"""Acid density of the AGM cell at 0 and 100 % charge, kg/m3, linear between."""


def lfp_cell_v(soc: float) -> float:
    """Open-circuit voltage of the Prada2013 cell, V."""
    values = pybamm.ParameterValues("Prada2013")
    solver = pybamm.lithium_ion.ElectrodeSOHSolver(values, direction=None)
    x, y = solver.get_initial_stoichiometries(soc)
    positive = values["Positive electrode OCP [V]"](pybamm.Scalar(y))
    negative = values["Negative electrode OCP [V]"](pybamm.Scalar(x))
    return float((positive - negative).evaluate())


def lead_cell_v(density_kg_m3: float) -> float:
    """Open-circuit voltage of one lead cell at this acid density, V.

    Density to molality by the partial molar volumes of the Sulzer2019 set.
    """
    values = pybamm.ParameterValues("Sulzer2019")
    water_m3 = values["Partial molar volume of water [m3.mol-1]"]
    acid_m3 = (
        values["Partial molar volume of cations [m3.mol-1]"]
        + values["Partial molar volume of anions [m3.mol-1]"]
    )
    water_kg = values["Molar mass of water [kg.mol-1]"]
    acid_kg = values["Molar mass of cations [kg.mol-1]"] + values["Molar mass of anions [kg.mol-1]"]
    acid_mol = (density_kg_m3 - water_kg / water_m3) / (acid_kg - water_kg * acid_m3 / water_m3)
    molality = acid_mol / ((1 - acid_mol * acid_m3) / water_m3 * water_kg)
    positive = values["Positive electrode open-circuit potential [V]"](molality)
    negative = values["Negative electrode open-circuit potential [V]"](molality)
    return float(positive - negative)


def spm_mean_v(c_rate: float, from_soc: float, to_soc: float) -> float:
    """Mean terminal voltage of a single-particle Prada2013 cell on constant current, V."""
    values = pybamm.ParameterValues("Prada2013")
    values["Current function [A]"] = 2.3 * c_rate
    simulation = pybamm.Simulation(pybamm.lithium_ion.SPM(), parameter_values=values)
    end_s = (from_soc - to_soc) / c_rate * 3600
    solution = simulation.solve(np.linspace(0, end_s, 500), initial_soc=from_soc)
    volts = solution["Voltage [V]"].entries
    return float(np.trapezoid(volts, solution.t) / (solution.t[-1] - solution.t[0]))


def main() -> None:
    with open(HERE / "pybamm_ocv.csv", "w", newline="", encoding="utf-8") as handle:
        rows = csv.writer(handle)
        rows.writerow(["soc", "lfp_cell_v", "lead_six_cells_v"])
        for soc in SOC:
            density = EMPTY_DENSITY + (FULL_DENSITY - EMPTY_DENSITY) * soc
            rows.writerow([soc, f"{lfp_cell_v(soc):.4f}", f"{6 * lead_cell_v(density):.4f}"])
    with open(HERE / "pybamm_spm.csv", "w", newline="", encoding="utf-8") as handle:
        rows = csv.writer(handle)
        rows.writerow(["c_rate", "from_soc", "to_soc", "mean_cell_v"])
        for c_rate in (0.1, 0.5):
            rows.writerow([c_rate, 0.95, 0.2, f"{spm_mean_v(c_rate, 0.95, 0.2):.4f}"])


if __name__ == "__main__":
    main()
