package demo

import "hoseward/internal/life"

// The patterns of the machines that clean streets and collect refuse. All
// pressures, cycles and temperatures are invented.

func refuseTruck() *kind {
	return &kind{
		name: "refuse truck", fluidC: 64,
		note: "Invented duty of a rear loader in two shifts: one packing cycle and two bins lifted in a minute and a half.",
		circuits: []*circuit{
			{
				name: "pump", cycles: every(120, 5, 162), hours: 15600,
				lines: all(
					one("pump outlet to packer valve", sn2, 25, 1850, 0),
					one("pump outlet to lift valve", sn2, 25, 2100, 0),
				),
			},
			{
				name: "packer", policy: twoShifts, hours: 6000, cycles: every(45, 5, 160),
				lines: all(
					sides("packer plate cylinder", sn2, 16, 1450, exposed),
					sides("carriage cylinder", sn2, 16, 1700, exposed),
				),
			},
			{
				name: "bin lift", policy: twoShifts, hours: 6000, cycles: every(90, 0, 145),
				lines: all(
					sides("bin lift cylinder", sc2, 10, 920, hurts|exposed),
					both("bin tilt cylinder", sc2, 10, 780, hurts|exposed),
					both("comb clamp cylinder", sc2, 8, 640, hurts),
				),
			},
			{
				name: "tailgate", cycles: every(1.5, 0, 150),
				lines: all(sides("tail lift cylinder", sn2, 12, 1320, hurts)),
			},
			{
				name: "ejector", cycles: every(1.2, 0, 155),
				lines: all(both("ejector cylinder", sn2, 19, 2400, 0)),
			},
			tank(
				one("tank to pump, suction", sn1, 51, 900, 0),
				one("packer valve to return filter", sn1, 31, 1250, 0),
				one("lift valve to return filter", sn1, 25, 1600, 0),
				one("return filter to tank", sn1, 38, 700, 0),
				one("pump case drain", r6, 12, 1100, 0),
			),
		},
	}
}

func sweeper() *kind {
	return &kind{
		name: "sweeper", fluidC: 66,
		note: "Invented duty of a compact sweeper in one shift, all year; its fan motor runs hot.",
		circuits: []*circuit{
			{
				name: "fan", fluidC: 89, hot: 0.049, cycles: every(6, 20, 150),
				lines: all(
					one("fan motor, supply", sn2, 25, 1150, 0),
					one("fan valve to fan motor", sn2, 25, 480, 0),
				),
			},
			{
				name: "brushes", cycles: every(30, 10, 140),
				lines: all(
					one("left brush motor, supply", sc2, 12, 1480, exposed),
					one("right brush motor, supply", sc2, 12, 1480, exposed),
					one("brush lift cylinder left", sc2, 8, 860, exposed),
					one("brush lift cylinder right", sc2, 8, 860, exposed),
					both("brush swing cylinder", sc2, 8, 990, exposed),
				),
			},
			{
				name: "hopper", cycles: every(1, 0, 170),
				lines: all(
					sides("hopper tip cylinder", sc2, 10, 1280, hurts),
					one("hopper door cylinder", sc2, 8, 1540, hurts),
				),
			},
			{
				name: "nozzle", cycles: every(8, 0, 110),
				lines: both("suction nozzle lift cylinder", sc2, 6, 720, exposed),
			},
			{
				name: "steering", cycles: every(60, 5, 130),
				lines: all(
					sides("steering cylinder", sc2, 10, 690, 0),
				),
			},
			{
				name: "pump", cycles: every(30, 15, 175),
				lines: all(
					one("pump outlet to main valve", sn2, 19, 1020, 0),
					one("load sensing line", sc2, 6, 1340, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 38, 640, 0),
				one("fan motor, return", sn1, 25, 1150, 0),
				one("left brush motor, return", sc1, 12, 1480, exposed),
				one("right brush motor, return", sc1, 12, 1480, exposed),
				one("main valve to cooler", sn1, 25, 980, 0),
				one("fan motor drain", r6, 10, 900, 0),
			),
		},
	}
}

func skipLoader() *kind {
	return &kind{
		name: "skip loader", fluidC: 58,
		note: "Invented duty: four skips set down or picked up in an hour.",
		circuits: []*circuit{
			{
				name: "arms", cycles: every(8, 0, 225),
				lines: all(
					sides("lift arm cylinder", sp4, 16, 1380, exposed),
					sides("telescopic arm cylinder", r2, 12, 1920, 0),
				),
			},
			{
				name: "stabilisers", unknown: true,
				lines: sides("stabiliser cylinder", sn2, 10, 1150, exposed),
			},
			{
				name: "pump", cycles: every(8, 5, 230),
				lines: one("pump outlet to main valve", sh4, 19, 1600, 0),
			},
			tank(
				one("tank to pump, suction", sn1, 51, 820, 0),
				one("main valve to return filter", sn1, 31, 1400, 0),
				one("return filter to tank", sn1, 31, 520, 0),
			),
		},
	}
}

func tipper() *kind {
	return &kind{
		name: "tipper", fluidC: 50,
		note: "Invented duty: two loads tipped in an hour.",
		circuits: []*circuit{
			{
				name: "tipping", cycles: every(2, 0, 160),
				lines: all(
					one("tipping ram", sn2, 19, 1750, hurts),
					both("tailboard cylinder", sc2, 8, 2300, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 38, 700, 0),
				one("tipping valve, return", sn1, 25, 1050, 0),
			),
		},
	}
}

func platformLift() *kind {
	return &kind{
		name: "platform lift", fluidC: 46,
		note: "Invented duty of a truck-mounted platform: the basket goes up ten times in an hour.",
		circuits: []*circuit{
			{
				name: "boom", policy: heightened, cycles: every(20, 5, 195),
				lines: all(
					both("lower boom cylinder", sc2, 10, 1250, exposed),
					both("upper boom cylinder", sc2, 10, 3400, exposed),
					both("telescope cylinder", sc2, 10, 4200, exposed),
					both("jib cylinder", sc2, 8, 5100, exposed),
				),
			},
			{
				name: "levelling", policy: heightened, cycles: every(40, 10, 120),
				lines: all(
					both("levelling cylinder at turntable", sc2, 6, 1850, 0),
					both("levelling cylinder at basket", sc2, 6, 2600, exposed),
				),
			},
			{
				name: "outriggers", policy: heightened, cycles: every(0.5, 0, 210),
				lines: all(
					sides("front outrigger", sc2, 8, 2250, 0),
					sides("rear outrigger", sc2, 8, 1650, 0),
				),
			},
			{
				name: "slewing", policy: heightened, cycles: every(25, 5, 130),
				lines: turns("slewing motor", "left turn", "right turn", sc2, 8, 1100, 0),
			},
			{
				name: "basket control", policy: thermoplast, cycles: every(25, 5, 60),
				lines: all(
					one("basket control line, up", r7, 6, 9800, 0),
					one("basket control line, down", r7, 6, 9800, 0),
					one("basket control line, left", r7, 6, 9800, 0),
					one("basket control line, right", r7, 6, 9800, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 31, 560, 0),
				one("main valve to tank, return", sn1, 25, 840, 0),
			),
		},
	}
}

// packing is a recorded hour of the pump line of one refuse truck, as a
// pressure log would give it: rare peaks above the rating of 165 bar.
func packing() []life.Cycle {
	return []life.Cycle{
		{MinBar: 8, MaxBar: 148, Count: 64},
		{MinBar: 12, MaxBar: 164, Count: 7.5},
		{MinBar: 8, MaxBar: 184, Count: 0.6},
	}
}
