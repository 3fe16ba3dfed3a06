"""Numbers of the JSON, each in a sentence with its unit; where one name means several things, by block."""

from cyclesim.said.numbers_decided import DECIDED
from cyclesim.said.trace_rows import COLUMNS
from cyclesim.simulation.trace import COLD_JET_K
from cyclesim.simulation.water_and_heat import HOT_SHARE

NUMBERS = {
    # about: what was run
    "days": "How many days were run and are counted, from the first day on; in step_out, of its trials.",
    "first_day": "The first day that is counted, a local date; in step_out, of its trials.",
    "seed": "The number by which all that is drawn by chance, as sessions, can be drawn again alike.",
    "warm_up_days": "Days that are run before the first day, to settle ages and temperatures; not counted.",
    "format": "The version of the form of the file that was run.",
    # legs: how water stood, aged, cooled
    "volume_l": "The water that a leg, the last stretch of it, a housing or the tub holds, in L.",
    "exchanges_per_day": "How often a day as much water as a leg holds moves through it.",
    "stagnant_h": "For how many hours in all the water of a leg did not move.",
    "stagnant_share_percent": "The share of the time in which the water of a leg did not move, in %.",
    "longest_stagnant_h": "The longest time for which the water of a leg did not move, in hours.",
    "longest_stagnant_from": "When the longest time began for which the water of a leg did not move, in "
    "local time.",
    "stagnant_spells": "How often the water of a leg stood, by how long: each class with its up_to_h.",
    "spells": "How often the water of a leg stood for up to up_to_h and longer than the class before.",
    "up_to_h": "The longest standing time that a class of spells takes, in hours; null: all longer ones.",
    "oldest_water_h": "The age of the oldest water that a leg held, in hours; unknown where nothing moves. "
    "In promises: of all legs and housings but dead ends.",
    "oldest_water_at": "When the water of a leg was oldest, in local time.",
    "oldest_water_mean_h": "The age of a leg's oldest water, as a mean over all of the time, in hours.",
    "mean_water_age_h": "The mean age of all water in a leg, over all of the time, in hours.",
    "above_limit_h": "For how many hours the oldest water of a leg was older than limits.water_age.",
    "longest_warm_still_h": "The longest time for which water stood between limits.growth_band, in hours.",
    "longest_warm_still_from": "When the longest time began for which water stood between "
    "limits.growth_band, in local time.",
    "coldest_water_c": "The coldest that any water of a part was, at its coldest end, in degC; in promises, "
    "of all parts and the tub.",
    "heat_lost_kwh": "The heat that left through a part's wall, flowing and standing, in kWh.",
    "heat_lost_flowing_kwh": "The heat that left through a part's wall while tub water passed it, in kWh.",
    "heat_lost_standing_kwh": "The heat that left through a part's wall while its water stood, and until "
    "it had been replaced once, in kWh.",
    # machines
    "running_h": "For how many hours a pump, blower or other machine ran, at whatever speed.",
    "low_h": "For how many hours a two-speed pump ran at low speed; null for a one-speed pump.",
    "high_h": "For how many hours a two-speed pump ran at high speed; null for a one-speed pump.",
    "starts": "How often a machine came on from rest; what ran as the days began had started before.",
    "programme.starts": "The local times at which a run of a programme begins.",
    "starts_per_day": "How often a day a pump starts.",
    "speed_changes": "How often a pump went from one speed to another without a stop.",
    "most_starts_in_an_hour": "The most starts of a pump in any sixty minutes.",
    "asked_h": "For how many hours each demand asked for a pump, by the demand's name, served or not.",
    "energy_kwh": "Electricity in these days, in kWh, without fuel: of one device; in energy, of all "
    "machines; in by_month, of one month.",
    "fuel_kwh": "Fuel that boilers burnt in these days, in kWh as its price counts it.",
    "cost": "Money in energy.currency for electricity at the file's tariff and for fuel, in these days: of "
    "one device; in energy, of all machines; in by_month, of one month.",
    "firing_h": "For how many hours a heat source gave heat; a stove or collectors: more than "
    f"{100 * HOT_SHARE:g} % of their output, collectors only while water moves through them.",
    "firings": "How often a heat source began to give heat.",
    "proving_h": "How long a heat source waited until its flow was proven, in hours.",
    "run_on_h": "How long pumps ran on after a heat source, in hours.",
    "called_not_firing_h": "For how many hours a heat source was called and gave no heat, by the reason.",
    "tripped_h": "How long a heat source was off until a person reset it, in hours.",
    "heat_kwh": "The heat that a source gave the water in these days, in kWh; with own water, its own; "
    "of collectors, less what they lost to the air.",
    "seasonal_cop": "The heat of a heat pump over its electricity in these days, defrosting taken off.",
    "sun_unused_kwh": "The heat that collectors could have given in these days, had water moved, in kWh.",
    "sun_unused_at_stop_kwh": "The part of sun_unused_kwh for which the tub was warm enough: at the high "
    "stop, in kWh.",
    "valve_moves": "How often the motor valve of collectors moved, to and fro.",
    "stood_hot_h": "For how many hours collectors could have warmed the water and none moved.",
    "heat_sources.hottest_c": "The hottest that standing collectors got, in degC, as if their water did "
    "not boil.",
    "hottest_at": "When standing collectors were hottest, in local time.",
    "on_h": "For how many hours a treatment device, or the pump room's heater or fan, was on.",
    "on_without_flow_h": "For how many hours a treatment device was on with less flow than it needs.",
    "held_off_h": "For how many hours a treatment device was wanted and kept off until its flow is proven, "
    "or by its own flow switch.",
    "blowers.flow_l_min": "The air that a blower takes in while it runs, in L/min.",
    "pressure_kpa": "The pressure that depth and pipe ask of a blower, in kPa.",
    "wet_volume_l": "The water that stands in a blower's pipe, which no pump moves, in L.",
    "each_injector_l_min": "The air through each injector, in L/min; null where their number is not told.",
    # own water
    "circulator_h": "For how many hours the circulator of a source's own water ran.",
    "circulator_starts": "How often the circulator of a source's own water started from rest.",
    "circulator_energy_kwh": "The electricity of the circulator of a source's own water, in kWh.",
    "circulator_cost": "What the electricity of that circulator cost, in energy.currency.",
    "own_water.flow_l_min": "What the circulator moves of a source's own water while it runs, in L/min.",
    "ua_w_k": "The heat that the plates pass for each kelvin between the two waters, in W/K.",
    "heat_on_h": "How long a source's own water got heat, by its thermostat or from the sun, in hours.",
    "heat_starts": "How often the heat of a source's own water came on.",
    "still_while_on_h": "How long a source was on while its own water stood, in hours: own-water-still.",
    "given_kwh": "The heat that a source gave its own water, in kWh.",
    "over_kwh": "The heat that went through plates from a source's own water to the tub's, in kWh.",
    "lost_kwh": "The heat that a source's own water lost to the air about it, in kWh.",
    "own_water.hottest_c": "The hottest that the own water in a source was, in degC.",
    "own_water.coldest_c": "The coldest that any of a source's own water was, in degC.",
    "freezes_c": "At which temperature a source's own water freezes, in degC: 0 without glycol.",
    # tub
    "mean_c": "The mean temperature of the tub's water over these days, in degC.",
    "tub.coldest_c": "The coldest that the tub's water was in these days, in degC.",
    "coldest_at": "When the tub's water was coldest, in local time.",
    "warmest_at": "When the tub's water was warmest, in local time.",
    "tub.warmest_c": "The warmest that the tub's water was in these days, in degC.",
    "turnovers_per_day": "How often a day the tub's volume passes the filter.",
    "fewest_turnovers_in_a_day": "How often the tub's volume passed the filter on the day with the least "
    "of it; null without a whole calendar day.",
    "fewest_turnovers_on": "The date of the day on which the filter passed the least water.",
    "since_filtered_mean_h": "How long ago the tub's water last passed the filter, as a mean, in hours, "
    "the tub taken as well mixed and these days as repeated.",
    "since_filtered_max_h": "The longest ago that the tub's water last passed the filter, in hours, the "
    "tub taken as well mixed and these days as repeated.",
    "since_filtered_max_at": "When the tub's water had last passed the filter the longest ago, in local "
    "time.",
    "lost_through_cover_kwh": "The heat that left the tub through its cover in these days, in kWh.",
    "lost_through_shell_kwh": "The heat that left the tub through its walls and floor, in kWh.",
    "lost_from_legs_kwh": "The heat that left through the walls of all legs, in kWh.",
    "lost_from_equipment_kwh": "The heat that left housings and heat sources, with their own water, in "
    "kWh; not of collectors, whose heat is told less what they lost.",
    "lost_from_open_water_kwh": "The heat that left the open water while the cover was off, with what "
    "warms the water that replaces what evaporated, in kWh.",
    "heat_from_pumps_kwh": "The heat that pumps gave the water that they moved, in kWh.",
    "heat_from_sources_kwh": "The heat of all heat sources together, as their heat_kwh, in kWh.",
    "heat_from_bathers_kwh": "The heat that bathers gave the water, less what warms the water that "
    "replaces what they carried out, in kWh; so it may be below 0.",
    "taken_by_air_kwh": "The heat that blown air took out of the water, in kWh.",
    "stored_change_kwh": "How much more heat all water and walls hold at the end than at the start, in kWh.",
    "balance_error_kwh": "What is left over when all losses and what is stored are taken off all heat that "
    "came in, in kWh: a check of the sums, nearly 0.",
    "topped_up_l": "The water that replaced what evaporated and what bathers carried out, in L.",
    "sessions": "How many sessions began, those that touch or overlap as one; as a list, each of them; in "
    "step_out, those of the trial that ended.",
    "bathed_h": "For how many hours somebody was in the water.",
    "mean_at_session_start_c": "How warm the tub's water was when people stepped in, as a mean, in degC.",
    "mean_at_session_end_c": "How warm the tub's water was when people stepped out, as a mean, in degC.",
    # energy
    "energy_kwh_per_day": "The electricity of a mean day, in kWh.",
    "cost_per_day": "The money of a mean day, for electricity and fuel, in energy.currency.",
    "month": "The calendar month that an entry is about.",
    "most_current_a": "The most current that everything together drew at once, in A; of a circuit, all on "
    "it. Starts of motors are left out.",
    "most_current_at": "When the most current was drawn first, in local time.",
    "breaker_a": "What the breaker bears, in A, as the file has it; null where several circuits share it.",
    "circuits.at": "When the most current was drawn on a circuit first, in local time.",
    "most_starting_a": "The most current on a circuit in the moment in which a motor starts, in A.",
    "starting_at": "When the motor started beside which a circuit carried the most, in local time.",
    "most_drop_v": "The most voltage lost on cables to anything on a circuit: a figure to check, in V.",
    "most_drop_percent": "The most voltage lost on cables to anything on a circuit, as a share of the "
    "supply's, in %.",
    "most_starting_drop_v": "The most voltage lost on a circuit's cables in the moment in which a motor "
    "starts, in V.",
    "most_starting_drop_percent": "The most voltage lost on a circuit's cables in the moment in which a "
    "motor starts, as a share of the supply's, in %.",
    # power cuts and cold
    "from_local": "When a session, a power cut or the cold spell began, in local time.",
    "lasts_h": "How long a session, a power cut or the cold spell lasts, in hours.",
    "outages.coldest_c": "The coldest that the tub or any part was while the power was off, in degC.",
    "until_zero_h": "Hours until each part, by its name, is at 0 degC: from a power cut's start, had it not "
    "ended (null: more than ten days); in cold_spell, from its start in this run "
    "(null: not before a day after it).",
    "until_frozen_h": "Hours from a power cut's start until a tenth of a part's water is ice, by its name, "
    "had the cut not ended; sooner than true, for ice keeps cold out.",
    "lowest_c": "The air's coldest hour in the cold spell, in degC.",
    "colder_by_k": "How much colder the spell makes the air than the weather without it, in K.",
    "cold_spell.coldest_c": "The coldest of each part, by its name, at its coldest end, from the spell's "
    "start to a day after its end, in degC.",
    "until_zero_without_power_h": "Hours from power_fails_at until each part, by its name, is at 0 degC with "
    "no power; null: more than ten days.",
    "power_fails_at": "The coldest hour, of the run or of the cold spell, in local time: from it on no power "
    "is assumed.",
    # water care
    "residual_mg_l": "The residual that the tub's water is kept at, in mg/L, as the file has it.",
    "at_least_mg_l": "The least residual that is wanted anywhere, in mg/L, as the file has it.",
    "half_life_fast_h": "The shorter half-life of the disinfectant, in hours, as the file has it.",
    "half_life_slow_h": "The longer half-life of the disinfectant, in hours, as the file has it.",
    "until_below_fast_h": "How old water is when its residual falls below the least that is wanted, by the "
    "shorter half-life, in hours.",
    "until_below_slow_h": "How old water is when its residual falls below the least that is wanted, by the "
    "longer half-life, in hours.",
    "least_fast_mg_l": "The least residual in a leg if the disinfectant fades by the shorter "
    "half-life, in mg/L.",
    "least_slow_mg_l": "The least residual in a leg if the disinfectant fades by the longer "
    "half-life, in mg/L.",
    "times_below_fast": "How often the oldest water of a leg was below the least residual that is wanted, by "
    "the shorter half-life.",
    "times_below_slow": "How often the oldest water of a leg was below the least residual that is wanted, "
    "by the longer half-life.",
    "below_fast_h": "For how many hours in all, at most, the oldest water of a leg was below the least "
    "residual that is wanted, by the shorter half-life.",
    "below_slow_h": "For how many hours in all, at most, the oldest water of a leg was below the least "
    "residual that is wanted, by the longer half-life.",
    "refill_every_days": "How often the tub is refilled, in days, as the file has it.",
    "last_refill": "The date of the last refill, as the file has it.",
    "since_refill_days": "Days since the last refill at the end of the run, refills taken as kept up.",
    "bathers_per_day": "How many people step into the water on a mean day.",
    "suggested_refill_days": "Days between refills that its bathers suggest: US gallons / 3 / bathers a "
    "day (common practice, no source); null where nobody bathes.",
    "refills": "How many refills fall into these days, their first day left out.",
    "refills_heat_kwh": "The heat that warms the refills of these days; it is in no other number.",
    "refills_heat_cost": "What the heat for the refills of these days cost, at the price of all heat of "
    "this run, in energy.currency.",
    "clean_filter_every_days": "How often the filter is cleaned, in days, as the file has it.",
    "flow_between_cleans_h": "For how many hours water passes the filter between two cleanings.",
    "passed_between_cleans_m3": "How much water passes the filter between two cleanings, in m3.",
    # sessions
    "set_point_c": "The set point in the moment in which people step in, in degC.",
    "in_c": "How warm the tub's water was when people stepped in, in degC.",
    "out_c": "How warm the tub's water was when people stepped out, in degC; null where the run ends before.",
    "sessions.coldest_c": "The coldest that the tub's water was while people sat in it, in degC.",
    "coldest_at_jet_c": "The coldest water that came out of a jet as it started in a session, in degC.",
    "cold_at_jet_s": "For how long at most one start of a jet gave water more than "
    f"{COLD_JET_K:g} K colder than the tub, in seconds.",
    # suction side and pump room
    "above_water_m": "How far a pump's inlet lies above the tub's water, in m; negative below it.",
    "npsh_available_m": "The NPSH at a pump's inlet in the worst duty that the schedule can ask for, at the "
    "highest set point, in m.",
    "npsh_needed_m": "The NPSH that the pump's data sheet asks for, in m.",
    "suction_fittings_always_open": "The fewest suction fittings that feed a pump in any duty, without those "
    "that a valve can shut off.",
    "cover_speed_one_blocked_m_s": "The speed of water through the suction covers that are left with the "
    "largest one blocked, in m/s: the fastest in any duty that can occur.",
    "distance_m": "How far the pump room stands from the tub's edge, in m, as the file has it.",
    "free_space_m": "The free floor before filter and valves, in m, as the file has it.",
    "dry_without_power_h": "How long the sump pump may stand until water is at anything electric, in hours.",
    "pump_room.coldest_c": "The coldest hour of the zone that the heater or fan is in, in degC.",
    "pump_room.warmest_c": "The warmest hour of the zone that the heater or fan is in, in degC.",
    # promises
    "times_to_be_warm": "How often the water had to be warm: at times to be ready, and as sessions began.",
    "warm_on_time": "How often the water was warm enough when it had to be: limits.cold_session.",
    "most_short_k": "How far below its set point the water was at worst when it had to be warm, in K; "
    "below 0 where it was always warmer.",
    "most_short_at": "When the water was furthest below its set point of all times at which it had to be "
    "warm, in local time.",
    "coldest_at_step_out_c": "The coldest water in which people sat at the end of a session, in degC.",
    "coldest_at_step_out_at": "When people stepped out of the coldest water of all sessions, in local time.",
    "loud_in_quiet_hours_h": "For how many hours machines ran in those in which the file keeps them off.",
    "water_age_limit_h": "The age that water may have, in hours: limits.water_age.",
    "first_at_zero_after_h": "Hours until a part is at 0 degC with no power from the coldest hour on.",
    # findings, valves left, mends
    "times": "How often a rule was broken by one subject for one cause.",
    "findings.total_h": "For how many hours in all a rule was broken; null where a breach has no length.",
    "findings.worst": "The worst breach of a rule, in the unit of worst_unit beside it.",
    "findings.first": "When a rule was broken the first three times, in local time.",
    "checked": "How many rules were judged whole; those with nothing to judge in this plant are among them.",
    "oldest_usual_h": "The age of a leg's oldest water with all valves as usual, in hours; null: none moves.",
    "oldest_left_h": "The age of a leg's oldest water with valves left in the position that is worst for "
    "it, in hours; null: none moves.",
    "most_flow_usual_l_min": "The flow through a leg with valves as usual, at the speeds that move "
    "most, in L/min.",
    "most_flow_left_l_min": "The flow through a leg with valves left in the position that is worst for it, "
    "at the speeds that move most, in L/min.",
    "mends.number": "The number of a mend; the same mend of two findings has one.",
    "mends.cost": "What these days cost with the mend, in the currency beside it.",
    "cost_before": "What these days cost without the mend, in the currency beside it.",
    "after_h": "Hours until the part is at 0 degC, had the power failed in the coldest hour: at_zero with "
    "the mend, at_zero_before without it.",
    # duties: pump speeds and valve positions, one combination each
    "water_c": "The temperature of the water for which duties are worked out, in degC.",
    "duties.flow_l_min": "The flow through a pump, leg, housing or heat source in this duty, in L/min; below "
    "0 in a leg: against its direction.",
    "head_m": "The head that a pump gives in this duty, in m; null where it stands.",
    "power_w": "The electrical power of a pump at its speed in this duty, in W.",
    "velocity_m_s": "The mean speed of the water in a leg's pipe in this duty, in m/s.",
    "reynolds": "The Reynolds number of the flow in a leg's pipe in this duty.",
    "tub_water_at_end_after_s": "Seconds until tub water comes out of a leg's end in this duty; null: never.",
    "tub_water_at_last_jet_after_s": "Seconds until tub water comes out of a leg's last jet in this duty; "
    "null: never.",
    "duties.jets": "How many jets a leg has; in a duty itself, what each leg's jets get.",
    "rated_l_min": "What one jet gives by its data sheet, in L/min; by its nozzle's bore at 5 m of head.",
    "needs_l_min": "The least flow that one jet, or a heat source, needs, in L/min, as the file has it; "
    "null where it has none.",
    "first_l_min": "What the first jet of a leg gets in this duty, in L/min.",
    "last_l_min": "What the last jet of a leg gets in this duty, in L/min.",
    "at_most_l_min": "The most flow that a housing may have, in L/min, as the file has it; null where it "
    "has none.",
    # confidence: run --confidence
    "confidence.runs": "How many runs the ranges rest on.",
    "draws": "Of the runs that ranges rest on, those in which all inputs were off at once.",
    "confidence.value": "What the run as told comes to, in the unit that the name of the number ends in.",
    "confidence.low": "The lower end of the range of an estimate.",
    "confidence.high": "The upper end of the range of an estimate.",
    "confidence.limit": "The limit that an estimate is judged by, in its unit; null where it has none.",
    "at_lowest": "By how much an estimate changes with one input at its lowest.",
    "at_highest": "By how much an estimate changes with one input at its highest.",
    # the names that an estimate of run --confidence may have besides
    "volumes_per_flush": "How often a flush replaces the water between the tub and the last jet.",
    "tub_water_at_last_jet_s": "Seconds until a flush has brought tub water to the last jet.",
    "coldest_at_session_c": "The coldest water into which people stepped, in degC.",
    "most_short_at_ready_by_k": "How far below its set point the water was at worst at times to be ready, in "
    "K.",
    "cost_of_month": "The money of one calendar month, for electricity and fuel.",
    # run --confidence: what flushes leave
    "volumes": "How often a flush replaces what lies between the tub and the last jet.",
    "in_order_percent": "The share of old water in what leaves the last jet as a flush ends, in %, if water "
    "moves as a plug.",
    "measured_tanks_percent": "The share of old water in what leaves the last jet as a flush ends, in %, "
    "if it mixes on the way as was measured in pipes.",
    "stirred_filter_percent": "The same share as measured_tanks_percent with the filter's housing stirred, "
    "in %; null where no filter is passed.",
    "few_tanks_percent": "The share of old water in what leaves the last jet as a flush ends, in %, if it "
    "mixes much more, as in few tanks in a row.",
    "lasts_for_5_percent_s": "How long a flush must last to leave 5 % of old water, as few_tanks_percent "
    "counts it, in seconds.",
    "lasts_s": "How long a flush or another run of the programme lasts, in seconds.",
    # run, where sessions end cold: step_out
    "mean_out_c": "How warm the water was as people stepped out, as a mean of the trial, in degC.",
    "coldest_out_c": "The coldest water out of which people stepped in the trial, in degC.",
    "warmer_k": "How much warmer mean_out_c is with the change, in K.",
    "energy_kwh_more": "Electricity and fuel that the change takes besides over the trial, in kWh.",
    "cost_more": "Money that the change takes besides over the trial, for electricity and fuel.",
}
NUMBERS |= DECIDED | {f"trace.{column}": said for column, said in COLUMNS.items()}
"""By the name in the JSON, or by a block and the name; what is in a map is told by the map's name.

The columns of a trace stand in a block of their own.
"""

MAPS = frozenset(
    ("asked_h", "called_not_firing_h", "coldest_c", "cost_by_month", "taken_by_m", "too_cold_h",
     "until_frozen_h", "until_zero_h", "until_zero_without_power_h")
)  # fmt: skip
"""Names of maps that have one number each of what people name."""
