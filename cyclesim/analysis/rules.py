"""The table of rules, and the one function that checks them all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cyclesim.analysis import (
    care_rules,
    heat_rules,
    history_rules,
    people_rules,
    plant_rules,
    room_rules,
    state_rules,
)
from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.findings import Breach, Checked, Finding, NotJudged, Rule, grouped, in_order
from cyclesim.analysis.history import History
from cyclesim.analysis.spans import Spans, join

_CHOICE, _PRACTICE = "project choice, no standard", "common practice, no source"
_SHEET = "the limit is the data sheet's"

RULES: tuple[Rule, ...] = (
    Rule(
        "suction-too-fast",
        "plant",
        "wear",  # noise and air in the pump; what a suction does to a person is not judged here
        "Water runs through a leg that draws from the tub no faster than the limit.",
        "1.8 m/s (6 ft/s): US residential pool practice, from memory, not opened",
        "a larger bore, or one more suction leg beside it",
        plant_rules.suction_too_fast,
    ),
    Rule(
        "filter-overloaded",
        "plant",
        "hygiene",  # too fast a flow carries through what the filter should keep
        "No duty of the schedule sends more water through a filter than its data sheet allows.",
        _SHEET,
        "a lower speed, or a larger filter",
        plant_rules.filter_overloaded,
    ),
    Rule(
        "jets-weak",
        "plant",
        "comfort",
        "In the best duty that can occur, the last jet of every leg gets the flow that it needs.",
        "75 % of a jet's rated flow where the file does not say: common practice, no source",
        "fewer jets, a larger bore or a stronger pump",
        plant_rules.jets_weak,
    ),
    Rule(
        "source-underfed",
        "plant",
        "danger",  # an element with too little water overheats
        "Wherever a heat source can fire, it gets at least the flow that its data sheet asks for.",
        _SHEET,
        "heat at a higher speed, or block the source where its flow is too low",
        plant_rules.source_underfed,
    ),
    Rule(
        "never-flushed",
        "plant",
        "hygiene",
        "Some demand of the schedule moves the water of every leg.",
        "no dead legs: HSE/HPA Management of spa pools (2006) 190-191; HSG274 part 2, seen second-hand",
        "move its water, or take it out",
        plant_rules.never_flushed,
    ),
    Rule(
        "flush-too-short",
        "plant",
        "hygiene",
        "A line flush replaces the water as far as the last jet twice.",
        "two volumes: common practice, no source",
        "a longer flush",
        plant_rules.flush_too_short,
    ),
    Rule(
        "airline-unprotected",
        "plant",
        "wear",  # a blower that has drunk is done for
        "A check valve or a loop above the water stops water from running back into a blower.",
        _PRACTICE,
        "a check valve, or a loop above the water",
        plant_rules.airline_unprotected,
    ),
    Rule(
        "no-independent-limit",
        "plant",
        "danger",  # the last barrier when a thermostat or a contactor fails
        "Every element and boiler has a high limit with a sensor of its own.",
        "independent limiting controls: IEC 60335-1, IEC 60730, principle from memory, not opened",
        "a high limit with a sensor of its own",
        plant_rules.no_independent_limit,
    ),
    Rule(
        "left-without-flush",
        "plant",
        "hygiene",
        "In no position in which a valve may be left is a leg cut off from all that moves its water.",
        "no dead legs: HSE/HPA Management of spa pools (2006) 190-191; HSG274 part 2, seen second-hand",
        "a stop on the valve",
        plant_rules.left_without_flush,
    ),
    Rule(
        "sample-too-short",
        "plant",
        "comfort",
        "A temperature sensor in a pipe is read only when tub water has reached it.",
        _PRACTICE,
        "a longer run before it is read",
        plant_rules.sample_too_short,
    ),
    Rule(
        "programme-does-not-fit",
        "plant",
        "comfort",
        "The schedule can be keyed into the controller as it is.",
        "what the file says that the controller takes",
        "key in what comes nearest, and put that into the file",
        plant_rules.programme_does_not_fit,
    ),
    Rule(
        "single-suction",
        "plant",
        "danger",  # one cover holds a body or hair with all of the pump's pull
        "A pump draws through two fittings or more, none of which a valve can shut off alone, and with one "
        "blocked the water runs slowly through the others.",
        "two fittings, and 0.5 m/s: EN 13451-3 and ANSI/APSP/ICC-7, from memory, not opened; local code "
        "decides",
        "two fittings or more on one pipe with no valve between",
        room_rules.single_suction,
    ),
    Rule(
        "pump-cavitates",
        "plant",
        "wear",  # bubbles that collapse eat the impeller
        "At each duty asked for, the NPSH at a pump's inlet is what its data sheet needs and 0.5 m more.",
        f"the need is the data sheet's; 0.5 m to spare: {_PRACTICE}",
        "set it lower, or take loss out of its suction",
        room_rules.pump_cavitates,
    ),
    Rule(
        "pump-loses-prime",
        "plant",
        "wear",  # it runs dry, and its seal burns
        "A pump above the water primes itself, and a check valve keeps its pipes full.",
        _PRACTICE,
        "a self-priming pump with a check valve, or set it below the water",
        room_rules.pump_loses_prime,
    ),
    Rule(
        "pump-against-shut-valve",
        "plant",
        "danger",  # it heats what it holds, to steam if nobody comes
        "However valves may be left, a pump of the schedule gets 5 % or more of its flow with all open.",
        f"5 %: {_CHOICE}; no pump against a shut valve: {_PRACTICE}",
        "a stop on the valve, or a bypass around it",
        room_rules.pump_against_shut_valve,
    ),
    Rule(
        "room-floods",
        "plant",
        "danger",  # electrics under water
        "A pump room below ground has a drain, and every pump room keeps the weather out.",
        f"{_PRACTICE}; local electrical code decides",
        "a drain, and a roof",
        room_rules.room_floods,
    ),
    Rule(
        "no-room-to-work",
        "plant",
        "comfort",
        "Before filter and valves there is room enough to open them.",
        _PRACTICE,
        "clear the space before them",
        room_rules.no_room_to_work,
    ),
    Rule(
        "heat-without-flow",
        "state",
        "danger",
        "No heat source is on without the flow that it needs for longer than the grace.",
        f"the grace: {_CHOICE}",
        "prove the flow before it fires, and open it when the flow ends",
        state_rules.heat_without_flow,
    ),
    Rule(
        "heat-before-proof",
        "state",
        "danger",  # a flow that has only just come may be air, or about to end
        "A heat source is on only while its flow has lasted for the proof time.",
        f"5 to 30 s: {_PRACTICE}",
        "prove the flow before it fires",
        state_rules.heat_before_proof,
    ),
    Rule(
        "both-speeds-at-once",
        "state",
        "danger",  # two windings against each other are a short circuit
        "Never are the contacts of two speeds of one pump closed together.",
        f"break before make: {_PRACTICE}",
        "a longer changeover, or contactors that lock each other",
        state_rules.both_speeds_at_once,
    ),
    Rule(
        "flush-onto-people",
        "state",
        "danger",  # jets come on unasked, and what stood in the lines comes out onto people
        "No line flush runs a pump while people are in the water.",
        _PRACTICE,
        "move the flush, or let bathing stand above it in schedule.ranks",
        state_rules.flush_onto_people,
    ),
    Rule(
        "dry-running",
        "state",
        "danger",  # its seal burns, and what it then pumps is air into people or a heater
        "No pump runs while the water is below the suction fittings.",
        _PRACTICE,
        "a level switch that stops it",
        state_rules.dry_running,
    ),
    Rule(
        "dosing-without-flow",
        "state",
        "danger",  # a slug of acid or chlorine comes out of the next jet; the two together make gas
        "Nothing is dosed into water that does not move.",
        f"interlock of dosing with flow: {_PRACTICE}; the grace: {_CHOICE}",
        "prove the flow before it doses",
        state_rules.dosing_without_flow,
    ),
    Rule(
        "gas-without-flow",
        "state",
        "danger",  # hydrogen of a cell burns; ozone hurts who breathes it
        "No ozone generator and no salt cell is on without the flow that carries its gas away.",
        f"interlock of gas with flow: {_PRACTICE}; the grace: {_CHOICE}",
        "prove the flow before it is on",
        state_rules.gas_without_flow,
    ),
    Rule(
        "lamp-without-flow",
        "state",
        "wear",  # it cooks what stands around it and dies early
        "No UV lamp is on without the flow that cools it.",
        f"{_PRACTICE}; the grace: {_CHOICE}",
        "prove the flow before it is on",
        state_rules.lamp_without_flow,
    ),
    Rule(
        "supply-overload",
        "state",
        "danger",
        "What is on at once draws no more from a circuit than its breaker is rated for.",
        "the breaker's rating; in north_america what runs for 3 h or more counts 125 %: NEC 210.19, 210.20, "
        "from memory, not opened; local code decides",
        "block one thing while the other is on",
        state_rules.supply_overload,
    ),
    Rule(
        "stale-water",
        "history",
        "hygiene",
        "No water in a leg grows older than the limit.",
        _CHOICE,
        "more flushes, or longer ones",
        history_rules.stale_water,
    ),
    Rule(
        "warm-stagnation",
        "history",
        "hygiene",
        "No water stands inside the growth band for longer than the limit.",
        f"the band: HSE L8 (seen second-hand) and the CDC Legionella control toolkit; the time: {_CHOICE}",
        "more flushes",
        history_rules.warm_stagnation,
    ),
    Rule(
        "too-few-turnovers",
        "history",
        "hygiene",
        "On every calendar day the tub's volume passes the filter as often as the limit.",
        _PRACTICE,
        "longer filter runs",
        history_rules.too_few_turnovers,
    ),
    Rule(
        "residual-lost",
        "history",
        "hygiene",
        "No water of a leg falls below the least residual that the file wants, even at the slow decay.",
        "the file's own wish; first-order decay, half-life 19.98 h at 22.3 degC in mains water: Water Supply "
        "24(12) 4046, 2024, abstract seen",
        "more flushes, or a higher residual in the tub",
        care_rules.residual_lost,
    ),
    Rule(
        "refill-overdue",
        "history",
        "hygiene",
        "The tub is refilled at least as often as its bathers suggest.",
        "US gallons / 3 / bathers a day, in days: common practice, no source",
        "refill it more often",
        care_rules.refill_overdue,
    ),
    Rule(
        "water-too-hot",
        "history",
        "danger",  # heat stroke; whoever sits in it may not notice in time
        "The water is no warmer than people may sit in, but for 0.2 K of the thermostat's swing.",
        "40 degC: New York State 6-1.25(b), seen; UL 1563 32.1, seen second-hand; the swing: " + _CHOICE,
        "a lower set point, or less heat from pumps",
        people_rules.water_too_hot,
    ),
    Rule(
        "outlet-too-hot",
        "history",
        "danger",  # it scalds whoever sits before the jet
        "Water leaves a heat source no warmer than the limit.",
        "high-limit cut-outs open at about 50 degC: equipment-standard practice, from memory, not opened",
        "more water through it, or a smaller source",
        people_rules.outlet_too_hot,
    ),
    Rule(
        "session-too-long",
        "history",
        "comfort",
        "People stay in warm water no longer at a time than the limit.",
        f"{_CHOICE}; for pregnant users and young children 10 to 15 min: CPSC and UL 1563, seen second-hand",
        "shorter sessions",
        people_rules.session_too_long,
    ),
    Rule(
        "cold-at-session",
        "history",
        "comfort",
        "When people step in, or the water was to be ready, it is near its set point.",
        _CHOICE,
        "let heating begin earlier",
        people_rules.cold_at_session,
    ),
    Rule(
        "no-run-on",
        "history",
        "wear",  # the element's own heat then scales it and ages its seals
        "Water still runs for a while after a heat source stops.",
        _PRACTICE,
        "wire a keep",
        history_rules.no_run_on,
    ),
    Rule(
        "short-cycling",
        "history",
        "wear",
        "A pump rests between two starts for as long as its motor needs.",
        "NEMA MG 10 table 2-3, seen second-hand; written for polyphase motors",
        "longer pauses",
        history_rules.short_cycling,
    ),
    Rule(
        "too-many-starts",
        "history",
        "wear",
        "A pump starts no more often within any hour than its motor bears.",
        "NEMA MG 10 table 2-3, seen second-hand; written for polyphase motors, single-phase ones bear less",
        "a wider band or longer runs",
        history_rules.too_many_starts,
    ),
    Rule(
        "quiet-hours",
        "history",
        "comfort",
        "What the file keeps off in the quiet hours is off in them.",
        "the file's own wish",
        "move it",
        history_rules.quiet_hours,
    ),
    Rule(
        "demand-not-served",
        "history",
        "comfort",
        "While a demand is raised, its pump runs at least at the speed that it asks for.",
        _CHOICE,
        "move one of the demands",
        history_rules.demand_not_served,
    ),
    Rule(
        "heating-in-vain",
        "history",
        "comfort",
        "Where heating is raised, a source fires within 1 h, and the water is warm within 48 h.",
        _CHOICE,
        "see what keeps the sources off",
        heat_rules.heating_in_vain,
    ),
    Rule(
        "frost-in-plant",
        "history",
        "danger",  # ice bursts pipes and housings
        "No water of a leg, a housing or the tub reaches 0 degC.",
        "water freezes at 0 degC; what ice does is not modelled: numbers after that are for liquid water",
        "frost protection, insulation, or drain it",
        heat_rules.frost_in_plant,
    ),
)


def check(history: History) -> tuple[tuple[Finding, ...], Checked]:
    """Every rule judged: the findings, the worst first, and which rules could not be judged whole."""
    findings: list[Finding] = []
    could_not: list[tuple[str, str]] = []
    for rule in RULES:
        breaches: list[Breach] = []
        for judged in judge(rule, history):
            if isinstance(judged, NotJudged):
                could_not.append((rule.id, judged.why))
            else:
                breaches.append(judged)
        findings += grouped(rule, breaches, history.trace.local)
    whole = len(RULES) - len({rule for rule, _ in could_not})
    return in_order(findings), Checked(whole, tuple(could_not))


def judge(rule: Rule, history: History) -> Iterator[Breach | NotJudged]:
    """What breaks one rule, each time that it does."""
    if rule.kind == "plant":
        yield from rule.function(history.plant, history.programme)
    elif rule.kind == "history":
        yield from rule.function(history)
    else:
        yield from _over_time(rule, history)


def _over_time(rule: Rule, history: History) -> Iterator[Breach]:
    """A rule of state judged once per distinct snapshot, then told by its spells."""
    times: dict[tuple[str, str], list[tuple[Breach, Spans]]] = {}
    for snapshot, spells in history.truth.snapshots:
        for breach in rule.function(snapshot, history.plant):
            times.setdefault((breach.subject, breach.cause), []).append((breach, spells))
    for group in times.values():
        worst = max((breach for breach, _ in group), key=lambda b: b.worst or 0.0)
        for start, end in join(*(spells for _, spells in group)).tolist():
            lasts_s = end - start
            told = worst if worst.worst is not None else replace(worst, worst=lasts_s, text=lasting(lasts_s))
            yield replace(told, at_s=start, lasts_s=lasts_s)
