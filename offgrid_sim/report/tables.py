"""The tables of a report as plain rows: key numbers, events, assumptions, weather sources."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from offgrid_sim.outcome.events import Event
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.plan.draft import Origin
from offgrid_sim.plan.route import Stop
from offgrid_sim.report.words import clock, counted, duration, in_a_row, number, percent
from offgrid_sim.weather.table import WeatherSource


@dataclass(frozen=True)
class Fact:
    """One key number: what, how much, and a few words more. ``bad`` asks for attention."""

    title: str
    value: str
    note: str = ""
    bad: bool = False


@dataclass(frozen=True)
class EventRow:
    """One event as shown; hours count from the trip's first."""

    band: str
    title: str
    when: str
    place: str
    lasts: str
    to_the_end: bool
    depth: str
    first_hour: float
    last_hour: float


@dataclass(frozen=True)
class Assumption:
    """One value of the plan: its short key, value, who gave it, and what it means."""

    key: str
    full_key: str
    value: str
    kind: str
    detail: str
    meaning: str


@dataclass(frozen=True)
class AssumptionTable:
    """The values of one table of the plan; ``yours`` come first, then from files, then assumed."""

    key: str
    title: str
    count_text: str
    rows: tuple[Assumption, ...]


@dataclass(frozen=True)
class AssumptionGroup:
    """One table of the plan, or a list of tables of one kind (stops, uses, loads)."""

    title: str
    count_text: str
    tables: tuple[AssumptionTable, ...]


@dataclass(frozen=True)
class SourceRow:
    """Where the weather of one or more stops came from."""

    name: str
    places: str
    years: str
    licence: str
    typical: bool
    notes: tuple[str, ...]


KIND_WORDS = {"yours": "yours", "file": "from file", "assumed": "assumed"}
KIND_ORDER = tuple(KIND_WORDS)
TABLE_TITLES = {
    "": "Trip", "weather": "Weather", "van": "Van", "van.solar": "Solar", "van.controller":
    "Charge controller", "van.battery": "Battery", "van.alternator": "Alternator charging",
    "van.shore": "Shore charging", "van.fridge": "Fridge", "van.cabin": "Cabin",
    "van.water": "Water", "van.loads": "Loads", "van.inverter": "Inverter",
    "van.rationing": "Rationing", "route": "Route", "route.stops": "Stops", "habits": "Habits",
    "habits.uses": "Uses of water and power",
}  # fmt: skip


def key_facts(outcome: RunOutcome) -> tuple[Fact, ...]:
    """What people look for first, of the shown year."""
    now = outcome.summary
    dark, thaw = now["blackout_hours"], now["thaw_hours"]
    spells = counted(now["blackout_events"], "time") if dark else ""
    longest = f"{spells}, longest {duration(now['longest_blackout_h'])}" if dark else ""
    facts = [
        Fact("Dark", duration(dark) if dark else "never", longest, dark > 0),
        Fact("Lowest charge", percent(now["min_soc"]), _when_lowest(outcome), now["min_soc"] < 0.2),
    ]
    if outcome.hourly["ice_share"].notna().all():
        note = "frozen food is lost" if now["lost_food"] else ""
        facts.append(Fact("Freezer thawing", duration(thaw) if thaw else "never", note, thaw > 0))
    if outcome.hourly["temp_fridge_c"].notna().all():
        warm = now["food_above_5c_hours"]
        facts.append(Fact("Food above 5 °C", duration(warm) if warm else "never", "", warm > 0))
    facts += [_tank_fact("Fresh tank dry", now["dry_hours"], f"{number(now['unmet_l'])} l"),
              _tank_fact("Grey tank full", now["grey_full_hours"], "")]  # fmt: skip
    return tuple(facts)


def side_checks(outcome: RunOutcome) -> tuple[Fact, ...]:
    """What is checked beside the run itself: food clocks, the compressor's start, battery wear."""
    facts = [
        Fact(
            f"Food clock: {read.rule.name}",
            read.state,
            f"{duration(read.counted_h)} above {number(read.rule.limit_c, 1)} °C count",
            read.state != "fine",
        )
        for read in outcome.food
    ]
    if outcome.start is not None:
        low = outcome.start.below_cutout_share
        note = f"at the drive; {percent(low)} of starts fall below its cut-out"
        volts = f"{number(outcome.start.lowest_v, 1)}\u00a0V"
        facts.append(Fact("Lowest in a compressor start", volts, note, low > 0))
    wear = outcome.battery_ageing
    note = f"{number(wear.full_cycles)} full cycles, cells {number(wear.mean_cell_c)} °C on average"
    loss = f"{number(wear.trip_loss_pct, 1)}\u202f%"
    return (*facts, Fact("Battery capacity lost on this trip", loss, note))


def _when_lowest(outcome: RunOutcome) -> str:
    return f"on {clock(outcome.hourly.soc.idxmin())}"


def _tank_fact(title: str, hours: float, note: str) -> Fact:
    return Fact(title, duration(hours) if hours else "never", note if hours else "", hours > 0)


def event_rows(events: Iterable[Event]) -> tuple[EventRow, ...]:
    """Events as rows, in the order given."""
    return tuple(
        EventRow(
            band=event.kind,
            title=event.title.replace("5 C", "5 °C"),
            when=clock(event.start),
            place=event.place,
            lasts=duration(event.duration_h),
            to_the_end=event.ends_with_trip,
            depth=_depth(event),
            first_hour=round(event.start_hour, 3),
            last_hour=round(event.start_hour + event.duration_h, 3),
        )
        for event in events
    )


def _depth(event: Event) -> str:
    if event.depth_unit.startswith("ice share"):
        return f"{percent(event.depth)} of the ice left"
    unit = event.depth_unit.replace("C ", "°C ")
    digits = 1 if unit[0] in "V°l" else 0
    return f"{number(event.depth, digits)} {unit}"


def your_assumptions(origins: Mapping[str, Origin]) -> tuple[Assumption, ...]:
    """What was changed on the command line."""
    return tuple(_assumption(origin) for origin in origins.values() if origin.kind == "yours")


def assumption_groups(origins: Mapping[str, Origin]) -> tuple[AssumptionGroup, ...]:
    """Every value of the plan by table, tables of one kind together."""
    tables: dict[str, list[Assumption]] = {}
    for key, origin in origins.items():
        tables.setdefault(_table_of(key), []).append(_assumption(origin))
    groups: dict[str, list[AssumptionTable]] = {}
    for key, rows in tables.items():
        groups.setdefault(_kind_of_table(key), []).append(_table(key, rows))
    return tuple(_group(kind, found) for kind, found in groups.items())


def _table_of(key: str) -> str:
    """``van.solar.0`` of ``van.solar.0.panel_w``; a stop's drive belongs to the stop."""
    return key.rpartition(".")[0].removesuffix(".drive")


def _kind_of_table(key: str) -> str:
    """``van.solar`` of ``van.solar.0``."""
    parent, _, last = key.rpartition(".")
    return parent if last.isdecimal() else key


def _group(kind: str, tables: list[AssumptionTable]) -> AssumptionGroup:
    rows = [row for table in tables for row in table.rows]
    many = f"{len(tables)}: " if len(tables) > 1 else ""
    return AssumptionGroup(_title(kind), many + _counts(rows), tuple(tables))


def _title(kind: str) -> str:
    return TABLE_TITLES.get(kind) or kind.rpartition(".")[2].replace("_", " ").capitalize()


def _table(key: str, rows: list[Assumption]) -> AssumptionTable:
    ordered = tuple(sorted(rows, key=lambda row: KIND_ORDER.index(row.kind)))
    return AssumptionTable(key, _table_title(key, rows), _counts(rows), ordered)


def _counts(rows: list[Assumption]) -> str:
    counts = [(KIND_WORDS[kind], sum(r.kind == kind for r in rows)) for kind in KIND_ORDER]
    return in_a_row([f"{count} {word}" for word, count in counts if count])


def _table_title(key: str, rows: list[Assumption]) -> str:
    last = key.rpartition(".")[2]
    if not last.isdecimal():
        return ""
    name = next((row.value for row in rows if row.key in ("name", "place")), "")
    return f"{int(last) + 1}. {name}"


def _assumption(origin: Origin) -> Assumption:
    table = _table_of(origin.key)
    return Assumption(
        key=origin.key[len(table) :].lstrip("."),
        full_key=origin.key,
        value=plain_value(origin.value),
        kind=origin.kind,
        detail=origin.detail,
        meaning=origin.description,
    )


def plain_value(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}".replace("-", "\u2212")
    if isinstance(value, list | tuple):
        return ", ".join(plain_value(v) if not isinstance(v, list) else _hours(v) for v in value)
    return str(value)


def _hours(pair: list[object]) -> str:
    return "\u2013".join(plain_value(v) for v in pair)


def source_rows(
    sources: tuple[WeatherSource, ...], stops: tuple[Stop, ...]
) -> tuple[SourceRow, ...]:
    """Weather sources, the same one said once with all its stops."""
    grouped: dict[SourceRow, list[str]] = {}
    for source, stop in zip(sources, stops, strict=False):
        row = SourceRow(source.name, "", source.years, source.licence, source.typical, source.notes)
        grouped.setdefault(row, []).append(stop.place)
    return tuple(replace(row, places=_places(places)) for row, places in grouped.items())


def _places(places: list[str]) -> str:
    distinct = list(dict.fromkeys(places))
    if len(distinct) <= 4:
        return in_a_row(distinct)
    return f"{counted(len(distinct), 'stop')}, {distinct[0]} to {distinct[-1]}"
