"""How long a step of the engine may be: the same trips at steps from an hour to 75 seconds.

    python benchmarks/step_convergence.py [--write docs/engine-step.md]

Every trip runs through many weather years; each figure is compared with the shortest step.
A single trip that hovers at the disconnect voltage may go dark a day earlier or later for a
millivolt, in the model as in a real van, so what is judged is the mean over the years.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from offgrid_sim.engine.loop import CALM_STEPS, STEPS_PER_HOUR, run_many
from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.weather.sources import providers

CONFIGS = Path(__file__).parents[1] / "configs"
PACES = ((1, 1), (2, 2), (3, 3), (4, 4), (4, 2), (6, 6), (12, 12), (24, 24), (48, 48))
"""Short steps of an hour, and steps of a calm one."""

YEARS = 30
SPEED_RUNS = 256


def trips() -> dict[str, LoadedTrip]:
    """The trips: winter near its limit, dark winter, hot summer, a small lead battery."""
    pyrenees = CONFIGS / "trips" / "pyrenees_winter.toml"
    june = CONFIGS / "trips" / "greensboro_june.toml"
    vans = CONFIGS / "vans"
    return {
        "winter, upright, 300 W": load_trip(pyrenees, ["van.solar.0.panel_w=300"]),
        "winter, upright, 150 W": load_trip(pyrenees, ["van.solar.0.panel_w=150"]),
        "winter, chest, 150 W": load_trip(
            pyrenees, ["van.solar.0.panel_w=150"], van=vans / "winter_chest.toml"
        ),
        "winter, small AGM": load_trip(pyrenees, van=vans / "small_agm.toml"),
        "summer, small AGM": load_trip(
            pyrenees, van=vans / "small_agm.toml", start="2025-06-10"
        ),
        "June, measured hours": load_trip(june),
        "Miami July, dark roof, 100 Ah": load_trip(
            june,
            ["weather.file='station:miami'", "van.battery.capacity_ah=100",
             "van.cabin.roof_colour='dark'", "van.solar.0.panel_w=250"],
            start="2025-07-01",
        ),
    }  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One trip at one step: means over the weather years, errors against the shortest step."""

    minutes: str
    fridge_wh_d: float
    fridge_pct: float
    load_pct: float
    solar_pct: float
    lowest_soc_diff: float
    blackout_h: float
    blackout_pct: float
    first_blackout_shift_min: float
    million_van_hours_s: float


def converge(loaded: LoadedTrip) -> list[Row]:
    """One trip at every step, shortest first."""
    rows: list[Row] = []
    reference = None
    for steps, calm in reversed(PACES):
        ready = prepare(loaded.trip, providers(loaded), YEARS, steps)
        years = len(ready.years)
        jobs = np.stack([np.zeros(years, int), np.arange(years)], axis=1)
        args = (ready.van, ready.clock, ready.skies, ready.ask)
        totals = run_many(*args, jobs, steps, calm_steps=calm)
        many = np.resize(jobs, (SPEED_RUNS, 2))
        begin = time.perf_counter()
        run_many(*args, many, steps, calm_steps=calm)
        van_hours = SPEED_RUNS * ready.line.hours
        speed = van_hours / (time.perf_counter() - begin) / 1e6
        reference = totals if reference is None else reference
        rows.append(_row(pace_name(steps, calm), totals, reference, ready.line.hours, speed))
    return rows


def pace_name(steps: int, calm: int) -> str:
    """Minutes of a step, and of one in a calm hour where that is another."""
    return f"{60 / steps:g}" if calm == steps else f"{60 / steps:g}, calm {60 / calm:g}"


def _row(minutes: str, totals: np.ndarray, reference: np.ndarray, hours: int, speed: float) -> Row:
    dark = (totals["blackout_hours"] > 0) & (reference["blackout_hours"] > 0)
    shift_h = np.abs(totals["first_blackout_h"] - reference["first_blackout_h"])[dark]
    return Row(
        minutes=minutes,
        fridge_wh_d=totals["fridge_wh"].mean() / hours * 24,
        fridge_pct=_change_pct(totals, reference, "fridge_wh"),
        load_pct=_change_pct(totals, reference, "load_wh"),
        solar_pct=_change_pct(totals, reference, "solar_wh"),
        lowest_soc_diff=float(np.abs(totals["min_soc"] - reference["min_soc"]).mean()),
        blackout_h=totals["blackout_hours"].mean(),
        blackout_pct=_change_pct(totals, reference, "blackout_hours"),
        first_blackout_shift_min=float(np.median(shift_h) * 60) if dark.any() else 0.0,
        million_van_hours_s=speed,
    )


def _change_pct(totals: np.ndarray, reference: np.ndarray, name: str) -> float:
    whole = reference[name].mean()
    return float(100 * (totals[name].mean() / whole - 1)) if whole else 0.0


HEAD = (
    "| step min | fridge Wh/d | fridge % | load % | solar % | lowest charge, points | "
    "dark h | dark % | first dark, min | M van-h/s |\n|" + "--:|" * 10
)


def markdown(name: str, rows: list[Row]) -> str:
    """One trip as a table; errors are against the last row."""
    lines = [f"### {name}", "", HEAD]
    for row in reversed(rows):
        mark = "**" if row.minutes == pace_name(STEPS_PER_HOUR, CALM_STEPS) else ""
        lines.append(
            f"| {mark}{row.minutes}{mark} | {row.fridge_wh_d:.1f} | {row.fridge_pct:+.2f} | "
            f"{row.load_pct:+.2f} | {row.solar_pct:+.2f} | {100 * row.lowest_soc_diff:.2f} | "
            f"{row.blackout_h:.1f} | {row.blackout_pct:+.2f} | "
            f"{row.first_blackout_shift_min:.0f} | {row.million_van_hours_s:.2f} |"
        )
    return "\n".join([*lines, ""])


def main() -> None:
    """Print the tables, and put them at the end of a page where one is named."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", type=Path, help="page whose part after the marker is renewed")
    page = parser.parse_args().write
    tables = "\n".join(markdown(name, converge(loaded)) for name, loaded in trips().items())
    print(tables)
    if page is not None:
        marker = "<!-- tables -->"
        text = page.read_text(encoding="utf-8").split(marker)[0]
        page.write_text(f"{text}{marker}\n\n{tables}", encoding="utf-8")


if __name__ == "__main__":
    main()
