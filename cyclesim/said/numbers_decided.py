"""Numbers of the JSON, as in numbers: of tune, compare, fits, savings, size, measured and verify."""

DECIDED = {
    # outcome of a programme or plant: tune, compare, fits
    "cost_by_month": "Money for electricity and fuel, by the calendar month.",
    "loud_min": "Minutes in which a machine is heard next door while nobody bathes: what "
    "schedule.quiet_hours names, else pumps at their highest speed beside filtering, and blowers.",
    "cold_sessions": "Of the sessions, those at which people stepped into water that was too cold.",
    "outcome.coldest_c": "The coldest that the tub's water was, in degC.",
    "moved_m3": "How much water passed a pump, in m3.",
    "hydraulic_kwh": "The work of a pump on the water, density times g times flow times head, in kWh.",
    # tune
    "grid_s": "How far apart the times lie at which runs may start, in seconds.",
    "tune.tried": "How many programmes were placed.",
    "tune.left_out": "Of the programmes that were placed, those that some days of each season told to be "
    "worse; the others ran all days.",
    "tune.held": "Of the programmes that ran all days, those that no rule refuses.",
    "fewest_flushes_a_day": "The fewest flushes in a day that any programme could have.",
    # compare
    "compare.years": "Over how many years what a plant costs is told.",
    "cost_a_year": "Money for electricity and fuel in a year.",
    "compare.total": "Purchase, replacements and energy together, at their value today.",
    "compare.purchase": "What the plant costs to buy.",
    "compare.replacements": "What is bought again over the years, at its value today.",
    "compare.energy": "Electricity and fuel over the years, at their value today.",
    "energy_kwh_a_year": "Electricity and fuel in a year, in kWh.",
    "loud_min_a_day": "loud_min of a mean day, in minutes.",
    "sun_unused_kwh_a_year": "The heat that collectors could have given in a year, had water moved, in kWh.",
    "weakest_jet_share": "What the weakest jet gets, its pump at its highest speed, over what it needs.",
    "filled_h": "Hours until a tub that was just filled is at its set point, in the coldest week.",
    "set_back_h": "Hours until the tub is at its set point from its set-back, on the coldest day.",
    "set_back_c": "The temperature of the set-back from which set_back_h counts, in degC.",
    "compare.less": "In how many futures the first plant has less.",
    "compare.same": "In how many futures both have the same.",
    "compare.of": "How many futures there are.",
    "compare.median": "What the other plant has more than the first, the median of all futures.",
    "compare.low": "What the other plant has more than the first, the 5th percentile of all futures.",
    "compare.high": "What the other plant has more than the first, the 95th percentile of all futures.",
    "at_low": "What the second plant costs more than the first, with an assumption at its low end.",
    "at_high": "What the second plant costs more than the first, with an assumption at its high end.",
    # savings
    "savings.energy_kwh": "Electricity and fuel of the run as the file has it, in kWh.",
    "energy_kwh_less": "Electricity and fuel that a change saves, in kWh.",
    "cost_less": "Money that a change saves, on electricity and fuel.",
    "savings.price": "What it costs to make a change; null where the file tells none.",
    "pays_back_years": "After how many years a change has saved its price; null without a price, or where "
    "it saves nothing.",
    # size heater
    "own_w": "The output that the heater has in the file, in W.",
    "to_c": "The set point to which warming up is counted, the highest of the file, in degC.",
    "fill_c": "How cold the water is that the tub is filled with, in degC.",
    "size.set_back_c": "The water from which warming up for a time to be ready is counted, in degC.",
    "within_s": "How long warming up may take, in seconds.",
    "coldest_day": "The coldest day of the file's year, a local date.",
    "coldest_week": "The first day of the coldest week of the file's year, a local date.",
    "mild_day": "A day of a mild month of the file's year, a local date.",
    "losses.ua_w_k": "The heat that the plant loses while it heats for each kelvin above beyond_c, in W/K.",
    "beyond_c": "The one temperature to which the plant loses heat while it heats, in the coldest week, in "
    "degC.",
    "supply_limit_w": "The largest heater that its circuit carries beside what may run with it, in W; null "
    "where no circuit feeds it.",
    "pump_heat_w": "The heat that the pump gives the water while it heats, in W.",
    "too_cold_h": "Hours of the coldest week in which the air is below what each heat pump works in.",
    "recommended_w": "The heater that is advised, in W: the smallest that does everything, and than which no "
    "other is both warm sooner and clearly cheaper to run; null where none does everything.",
    "nearest_w": "The largest heater that its circuit carries and that breaks no rule, else the smallest, in "
    "W.",
    "needed_w": "The smallest heater that is warm in time and keeps every session warm, whatever the supply, "
    "in W; null where none is.",
    "needed_breaker_a": "The breaker that the heater of needed_w asks for, in A.",
    "takes_s": "How long the heater of nearest_w takes for what must be ready, in seconds; null: never.",
    "none_does.set_back_c": "The lowest set-back from which the heater of nearest_w is ready in time, in "
    "degC.",
    "size_w": "The output of the heater that is tried, in W.",
    "filled_coldest_s": "Seconds until a tub that was just filled is at its set point, in the coldest week; "
    "null: never.",
    "filled_mild_s": "Seconds until a tub that was just filled is at its set point, in a mild month; null: "
    "never.",
    "from_set_back_s": "Seconds until the tub is at its set point from its set-back, on the coldest day; "
    "null: never, or where nothing asks for it.",
    "begin_at": "When heating must begin, on the coldest day or before it, to be ready on it, in local time.",
    "without_losses_s": "Seconds from fill to set point by the heat that the tub's water takes, over the "
    "output of all heat sources, as if nothing were lost.",
    "with_losses_s": "Seconds from fill to set point by the exponential approach to where losses take all "
    "that heat sources give; null: it never gets there.",
    "from_sources_kwh": "The heat that sources gave while a filled tub was warmed up, in kWh.",
    "from_pumps_kwh": "The heat that pumps gave while a filled tub was warmed up, in kWh.",
    "into_tub_water_kwh": "The heat that stayed in the tub's water as a filled tub was warmed up, in kWh.",
    "into_shell_kwh": "The heat that stayed in the tub's shell as a filled tub was warmed up, in kWh.",
    "lost_by_cover_and_shell_kwh": "The heat that left by cover, open water and shell while a filled tub was "
    "warmed up, in kWh.",
    "into_pipes_and_lost_there_kwh": "The heat that went into pipes and housings, or was lost there, while "
    "a filled tub was warmed up, in kWh.",
    "waited_h": "For how many hours of a warming-up no source gave heat.",
    "held.coldest_c": "The coldest that the tub's water was in the coldest week at the warmest set point, in "
    "degC.",
    "loses_w": "The heat that the plant lost in the coldest week at the warmest set point, as a mean, in W.",
    "cover_share": "The share of the loss in the coldest week that left by cover and open water, from 0 to "
    "1.",
    "sizes.cold_sessions": "Of the sessions, those that began or those that ended in water that was too "
    "cold, whichever are more.",
    "pump_h": "For how many hours pumps ran in the days that were run, all pumps together.",
    "not_ready": "How often the water was not warm by a time to be ready.",
    "outlet_warmer_k": "By how much water leaves the heater warmer than it came, at the duty of heating, in "
    "K.",
    "source_a": "The current of the heater itself, in A.",
    "drawn_a": "The most current on the heater's circuit while it is on, as interlocks let things run "
    "together, in A.",
    "counted_a": "What drawn_a counts against the breaker, in A: more where the region counts what lasts for "
    "3 h.",
    "without_a": "What counted_a would be without any interlock, in A.",
    # size pump
    "jets_need_m3_s": "What all jets need together, in m3/s.",
    "asked.flow_m3_s": "The flow at which the weakest jet gets just what it needs, in m3/s.",
    "asked.head_m": "The head at which the weakest jet gets just what it needs, in m.",
    "taken_by_m": "Where the head that is asked for goes, on the way through the weakest jet, in m, by part.",
    "given.flow_m3_s": "The flow that a pump or blower gives in this plant, in m3/s.",
    "given.head_m": "The head that a pump gives in this plant, in m.",
    "weakest_jet_m3_s": "What the weakest jet gets, in m3/s.",
    "flow_spare_share": "How much more flow is given than asked for, as a share of it; below 0: less.",
    "head_spare_share": "How much more head a pump has at the flow that is asked for, as a share of the head "
    "that is asked for.",
    "given.power_w": "The electrical power of a pump at this speed, or of a blower, in W.",
    "wh_per_m3": "The electricity for each cubic metre that a pump moves, in Wh/m3.",
    "suction_m_s": "The fastest water in a leg that draws from the tub, in m/s.",
    "npsh_left_m": "The NPSH at the pump's inlet in this duty, in m.",
    "npsh_due_m": "The NPSH that the pump's data sheet needs with the usual margin, in m.",
    "filter_share": "The flow through the filter that is used most, over the most that it bears.",
    "given.price": "What the pump or blower costs, in its currency, as the file has it.",
    "total_flow_m3_s": "What an arrangement of pumps moves together, in m3/s.",
    "system_m3_s_m": "The curve of the plant: pairs of flow in m3/s and the head that it asks for in m.",
    "points": "The curve of one pump or blower: pairs of flow in m3/s and of head in m or pressure in Pa.",
    # size blower
    "depth_pa": "The pressure that the water over the blower's outlets asks for, in Pa.",
    "wanted_m3_s": "The flow of air that is wanted, in m3/s; null where the file has none.",
    "wanted_pa": "The pressure that depth and pipe ask for at the flow that is wanted, in Pa.",
    "mean_air_c": "The mean air where the blower draws, of the year or of the coldest month, in degC.",
    "mean_humidity_share": "The mean relative humidity where the blower draws, of the year or of the coldest "
    "month, from 0 to 1.",
    "pressure_pa": "The pressure that a blower gives in this plant, in Pa.",
    "pressure_spare_share": "How much more pressure a blower gives at no flow than the depth asks for, as a "
    "share of that; null without a curve.",
    "cools_coldest_k_h": "How fast the blower cools the water in the mean air of the coldest month, in K/h; "
    "below 0: its own warmth outdoes it.",
    "cools_mean_k_h": "How fast the blower cools the water in the mean air of the year, in K/h.",
    "system_m3_s_pa": "The curve of the air pipe: pairs of flow in m3/s and the pressure that it asks for in "
    "Pa.",
    # measured
    "read": "What was read, in the unit beside it.",
    "read_off": "How far off a reading may be to either side, in the unit beside it.",
    "predicted": "What the plant as drawn gives for a reading, in the unit beside it.",
    "predicted_off": "How far off a prediction may be to either side, in the unit beside it.",
    "apart": "How far reading and prediction are apart over what both may be off by: up to 1 they agree.",
    "as_drawn": "How likely it is that nothing but the usual doubts is at work, from 0 to 1.",
    "other": "How likely it is that something not on the list of causes explains the readings, from 0 to 1.",
    "share": "How likely an explanation is out of all that is considered, from 0 to 1.",
    "misfit": "How far off readings are with an explanation, as a root mean square in standard deviations.",
    "explains": "The share of what the readings are off by, by their squares, that causes take away.",
    "bits": "How much a reading is expected to tell, in bits: 1 decides between two explanations.",
    "per_year": "How fast the amount of a cause grows in a year, in the unit beside it.",
    "per_year_off": "How far off the growth in a year is to either side in 90 of 100, in the unit beside it.",
    "limit_value": "The amount of a cause at which a limit is met, in the unit beside it.",
    "limit_on": "The date on which a limit is met if a cause goes on growing in a straight line.",
    "hours_to_hot": "Hours from a fresh fill, in the coldest week, until the tub is at its set point.",
    "clock_ahead_h": "By how much a log's clock is ahead, in hours; null without a weather file.",
    "air_off_k": "By how much a log's air reads warmer than the weather's, in K; null without such a file.",
    "amounts.told": "The amount of a cause that the file has, in the unit beside it.",
    "amounts.value": "The likeliest amount of a cause, in the unit beside it; null where it has no amount.",
    "amounts.low": "The amount above which a cause lies in 95 of 100, in the unit beside it.",
    "amounts.high": "The amount below which a cause lies in 95 of 100, in the unit beside it.",
    "odds": "How many times likelier an explanation is than the plant as drawn.",
    "best.readings": "What each reading would be under an explanation, in SI, in the order of the readings.",
    "explained.causes": "How many causes were tried.",
    "misfit_as_drawn": "How far off readings are from the plant as drawn, as a root mean square in standard "
    "deviations.",
    "expected.value": "What an explanation expects of the next reading, in the unit that stands with it.",
    "off": "How far off an expected reading may be to either side in 90 of 100, in the unit that stands with "
    "it.",
    "at.value": "The likeliest amount of a cause on the date of a file, in the unit of the cause.",
    "at.low": "The amount above which a cause lies in 95 of 100 on the date of a file.",
    "at.high": "The amount below which a cause lies in 95 of 100 on the date of a file.",
    "date": "The local date on which was measured.",
    "rows": "How many rows a log has.",
    "step_s": "How far apart the rows of a log are, in seconds.",
    "logs.begins": "The time of the first row of a log or before a gap, as the log writes it.",
    "logs.ends": "The time of the last row of a log or after a gap, as the log writes it.",
    "repeated": "How many rows of a log have the time of another row.",
    "water_off_k": "By how much the water of a log reads warmer than the set point where heating stops, in "
    "K.",
    "follows.cost": "Money in currency for electricity and fuel over the days that were run.",
    "costs_more": "What the likeliest cause costs over the days that were run, in currency.",
    # verify
    "verify.faults": "How many things may go wrong at once.",
    "states": "How many states were looked through.",
    "at_s": "When each step of a story comes in the engine's run, in seconds from the first.",
    "first_on": "When the calendar first asks for what a story ends with, in local time.",
    "declared": "A time in seconds, or starts in an hour, as the file allows at worst; null: without limit.",
    "timed.limit": "The limit of what is declared, in its unit: seconds, or starts in an hour.",
}
