"""Every constant that the virtual engine assumes, each with its label; it holds numbers and computes nothing.

Labels: [published: S..] seen in a source, [from memory: ..] remembered, [common practice] workshop habit, [derived]
computed from first principles, [assumed] chosen so that the engine behaves inside the published or practised ranges.
None of these may be read by an adviser: the technician can't see them.
"""

from __future__ import annotations

# --- air through the plate -------------------------------------------------------------------------------------
PLATE_DISCHARGE = 0.8  # flow coefficient of a nearly shut plate [assumed; 0.8 is used with S-physics 13.1]
PLATE_REST_DEG = {40: 10.0, 45: 7.5}  # plate angle when shut, by bore in mm [assumed]
LEVER_DEG_PER_TURN = 1.28  # 0.85 mm pitch on a 38 mm lever [derived from assumed sizes]
OTHERS_IDLE_TURNS = 1.5  # speed screw at a right idle, other families [published: S26; assumed: downdraughts]
SEAT_SHARE = 0.45  # air past a shut plate, of the idle area [assumed: 1/4 to 1/2 turn then idles]
SEAT_SCATTER = 0.02  # how that differs from barrel to barrel [assumed]
PLATE_SCATTER_DEG = 0.012  # how sound plates of one body differ [assumed]
BYPASS_MM2_PER_TURN = 1.0  # open area a turn of an air bypass screw [assumed]
BYPASS_TURNS = 4.0  # its full travel [assumed]
INTAKE_DUTY = 0.28  # 200 of 720 degrees a cylinder: a gauge over-reads by 1/sqrt(duty), 1.89 [derived]
DEPRESSION_SHOWN = 0.42  # of the depression, by a damped gauge on one runner [assumed: S34 says 15 to 40 kPa]
SECONDARY_SEAT = 0.04  # air past a shut secondary plate, share of idle air [assumed]
TWIST_PER_DEG = 0.15  # a twisted spindle's error grows by this a degree of opening [assumed]

# --- charge, friction, speed -----------------------------------------------------------------------------------
IDLE_AIR_KG_H_PER_L = 5.95  # idle air of a 900 rpm older engine, 11.9 kg/h at 2.0 L [derived, torque balance]
CHARGE_TEMPERATURE_K = 320.0  # in the runner [derived table of idle air uses it]
PORT_SLOPE = 0.93  # port flow m = V N/(120 R T) (s p - y): s [from memory: mean value models, 0.9 to 0.96]
PORT_OFFSET_PA = 9000.0  # y of the same [from memory: 0.05 to 0.1 bar]
EXHAUST_OVER_PA = 2000.0  # exhaust back pressure at idle [assumed]
PUMPING_SHARE = 0.78  # pumping work against p_exhaust - p_runner; separate runners refill [assumed; 0.54 bar]
LOAD_BAR = 0.10  # dynamo, fan, pump [derived balance: 1.15 + 0.54 + 0.10 bar]
NEEDED_IMEP_BAR = 1.80  # gross imep at that idle [derived]
EFFICIENCY_SPEED_POWER = 0.05  # slow engines burn worse: efficiency grows with this power of speed [assumed]
FRICTION_SCATTER = 0.04  # from engine to engine [assumed]
STALL_RPM = 430.0  # below it an even engine stops [assumed]
STALL_ROUGHNESS_RPM = 520.0  # and so much more for the whole torque lost in misfire [assumed]

# --- mixture ---------------------------------------------------------------------------------------------------
BEST_PHI = 1.12  # equivalence ratio of best torque, lambda 0.89 [from memory: Heywood ch. 15]
RICH_FALL, LEAN_FALL = 1.1, 2.0  # torque 1 - a (phi - 1.12)^2 on either side [from memory: same]
LEAN_LIMIT, LEAN_WIDTH = 1.20, 0.025  # lambda where half the cycles misfire at idle, and its spread [assumed]
RICH_LIMIT, RICH_WIDTH = 0.62, 0.025  # the same at the rich end [assumed]
PETROL_AFR = 14.57  # stoichiometric, CH1.85 [derived from atomic masses]
ETHANOL_AFR = 9.00  # [derived]
PETROL_DENSITY, ETHANOL_DENSITY = 745.0, 789.0  # kg/m3 [from memory]

# --- idle circuit of a fixed-choke carburettor -----------------------------------------------------------------
IDLE_JET_DISCHARGE = 0.7  # [assumed]; with it a 50 jet at idle works under about 140 Pa [derived]
SETTLED_LAMBDA = 0.91  # the right jet gives this in mid band [common practice: 0.88 to 0.96]
BAND = {
    "short taper": (1.0, 1.5),
    "long taper": (2.0, 3.0),
    "fuel screw": (1.2, 2.8),
    "air screw": (1.0, 2.5),
    "jet nut": (1.5, 2.5),
}
#: Where screws rest with the right jet [common practice: short, long; published: S10 air; S24 jet nut (turns)].
SCREW_SLOPE = {"short taper": 0.29, "long taper": 0.17, "fuel screw": 0.19, "air screw": -0.22, "jet nut": 0.21}
#: Share of fuel a turn in mid band [assumed, so that a jet size of 5 (19 to 23 % of area) leaves the band].
SCREW_ONSET = 0.12  # turns over which a needle leaves its seat [assumed]
JET_SCATTER = 0.010  # delivery of jets of one number [assumed]
HOLES = 3  # progression holes [common practice: 3 older, 4 newer]
HOLE_MARGIN_TURNS = (0.11, 0.18)  # idle plate short of the first hole, in turns [assumed: "just short of it"]
HOLE_PITCH_DEG = 0.36  # plate angle from hole to hole [assumed]
HOLE_RAMP_DEG = 0.30  # plate angle over which one comes in, half of it before its edge shows [assumed]
HOLE_REFERENCE_DEG = 0.9  # idle area over its growth a degree, of the body that the two above hold for [assumed]
HOLE_SIGNAL = 1.15  # signal a hole adds, share of the screw's [assumed: lambda stays below 1 in the creep]
MAIN_STARTS = 2.05  # idle air times this starts the main circuit [assumed: 1700 rpm without load]
MAIN_LATE_PER_MM = 0.05  # and later by this share a mm of low level [assumed]
MAIN_LAMBDA = 0.92  # mixture that it adds [common practice]
FUEL_WEIGHT_PA_PER_MM = 7.31  # 745 kg/m3 times g [derived]: level acts on the jet's small head
DIRTY_SHARE = (0.62, 0.80)  # what a dirty jet lets through [assumed]
RETARD_LOSS = 0.018  # torque lost a degree of retard at idle [assumed]
WEAK_GAUGE_KICK = 0.02  # added scatter of the needle on a weak cylinder [assumed]

# --- constant-depression carburettors --------------------------------------------------------------------------
BALANCE_PIPE = 0.15  # share of the mixture that the bodies of a set exchange [assumed: S26, bodies interact]
LIFT_LEANS = 0.07  # lifting a piston 0.8 mm leans its body by this share [assumed]
LIFT_RISES_RPM, LIFT_FALLS_RPM = 3.0, -9.0  # change of speed that is heard, two bodies [assumed]
LEVEL_SHARE_PER_MM = 0.004  # fuel a mm of level: it works under about 1.7 kPa [derived: 7.3 Pa a mm]
STICKING_LEANS = 0.12  # a piston that hangs up leans its body by this share [assumed]
NUT_SCATTER = 0.12  # turns: how the right place of nuts differs in a set [assumed: alarm at 3 flats, S24]
OTHERS_FOUND = 0.6  # mixture screws and nuts of these and other families, turns either way [assumed]

# --- warm-up ---------------------------------------------------------------------------------------------------
HOT_COOLANT_C, HOT_OIL_C = 85.0, 85.0  # [common practice: 80 to 90]
COOLANT_MINUTES, OIL_MINUTES = 4.0, 7.0  # time constants [assumed; speed creeps up for 15 to 20 minutes]
COLD_FRICTION = 0.45  # more friction per 70 K of cold oil [assumed]
COLD_FUEL = 0.22  # fuel that wets walls per 70 K of cold coolant [assumed]
NURSED = 0.3  # of that, when it is held at the pedal, whose pumps squirt [assumed]
DRIVEN_IN_C = 82.0  # coolant and oil of an engine that was just driven in [assumed]
STEP_MINUTES = 0.5  # a step of the routine on a running engine [assumed]
READING_SECONDS = 8.0  # one place of a row [common practice: 3 to 5 s, and the walk]

# --- hands -----------------------------------------------------------------------------------------------------
COUNT_SCATTER = {"jet": 0.020, "plate": 0.010, "bypass": 0.015, "coupling": 0.010}
#: How far a counted move misses, turns [assumed: mixture is counted to a sixteenth, speed screws to a thirty-second].
COUNT_SHARE = 0.01  # and so much of the move itself [assumed]
AIM_SCATTER = 0.006  # turns, when turning until a gauge shows a figure [assumed]
POSITION_STEP = 1 / 16  # a screw counted to its seat is told to this [common practice]

# --- what a check shows ----------------------------------------------------------------------------------------
TAKE_OFF_PLUGS = 0.5  # share of disturbing take-offs that can be plugged for the readings [assumed]
LEAK_SEEN_MM2 = 0.08  # a leak of this area changes the speed under mist [assumed: 2 to 3 % of a barrel's air]
HUNTING_SEEN_RPM = 25.0  # a swing either way that a person calls hunting [assumed]
QUARTER_HEARD = 0.03  # share of a cylinder's fuel, a quarter in to a quarter out, that the ear notices [assumed]
SMOKE_LAMBDA = 0.74  # richer than this on average the tailpipe smokes black [assumed: soot from about 0.7]
MISS_HEARD = 0.25  # share of a cylinder's cycles that miss before an ear at the tailpipe hears it [assumed]
SPIT_LAMBDA = 1.16  # a hot barrel this lean spits back [assumed: just short of the lean limit]
WEAK_COMPRESSION = 0.9  # compression lost, share of the torque lost [assumed]
CREEP_FLAT, CREEP_SNATCHES = 1.10, 1.18  # leanest lambda of any barrel from 1500 to 2500 rpm [assumed]
