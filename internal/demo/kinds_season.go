package demo

// The patterns of the machines that work by season or on sites. All pressures,
// cycles and temperatures are invented.

func gritter() *kind {
	return &kind{
		name: "gritter", fluidC: 48,
		note: "Invented duty of a spreader in winter; salt gets everywhere.",
		circuits: []*circuit{
			{
				name: "spreading", cycles: every(40, 20, 150),
				lines: all(
					one("spinner motor, supply", sc2, 12, 1900, exposed),
					one("conveyor motor, supply", sn2, 16, 2300, exposed),
					one("brine pump motor, supply", sc2, 10, 1650, exposed),
				),
			},
			{
				name: "spinner lift", cycles: every(1, 0, 140),
				lines: both("spinner lift cylinder", sc2, 8, 1280, exposed),
			},
			{
				name: "pump", cycles: every(40, 15, 165),
				lines: one("pump outlet to spreader valve", sn2, 19, 3100, 0),
			},
			tank(
				one("tank to pump, suction", sn1, 38, 740, 0),
				one("spinner motor, return", sc1, 12, 1900, exposed),
				one("conveyor motor, return", sn1, 16, 2300, exposed),
				one("brine pump motor, return", sc1, 10, 1650, exposed),
				one("spreader valve to tank, return", sn1, 25, 3000, exposed),
				one("pump case drain", r6, 10, 820, 0),
			),
		},
	}
}

func snowPlough() *kind {
	return &kind{
		name: "snow plough", fluidC: 45,
		note: "Invented duty of a front plough: the blade is lifted and turned often and runs against kerbs.",
		circuits: []*circuit{
			{
				name: "blade", cycles: every(50, 0, 210),
				lines: all(
					both("blade lift cylinder", sc2, 12, 980, exposed),
					sides("blade angle cylinder", sc2, 12, 1420, exposed),
				),
			},
			{
				name: "wing", policy: fewHours, cycles: every(6, 0, 180),
				lines: both("wing cylinder", sc2, 10, 2100, exposed),
			},
			{
				name: "coupling", cycles: every(56, 0, 210),
				lines: all(
					one("coupling block, supply", sn2, 12, 1650, exposed),
					one("coupling block, float line", sn2, 12, 1650, exposed),
				),
			},
			tank(
				one("coupling block, return", sn1, 16, 1650, exposed),
				one("main valve to tank, return", sn1, 25, 1150, 0),
			),
		},
	}
}

func vergeMower() *kind {
	return &kind{
		name: "verge mower", fluidC: 70,
		note: "Invented duty of a reach mower on a tractor in summer; the flail works near the limit of its line.",
		circuits: []*circuit{
			{
				name: "flail", cycles: every(200, 5, 213), hours: 3900,
				lines: one("flail motor, supply", sn2, 19, 4300, hurts|exposed),
			},
			{
				name: "arm", cycles: every(70, 5, 190),
				lines: all(
					both("arm lift cylinder", sc2, 10, 1480, exposed),
					both("arm reach cylinder", sc2, 10, 2650, exposed),
					both("head tilt cylinder", sc2, 8, 4400, exposed),
					both("arm slew cylinder", sc2, 10, 1120, 0),
				),
			},
			{
				name: "head", cycles: every(10, 5, 150),
				lines: all(
					both("flap cylinder", sc2, 8, 4650, exposed),
					one("roller height cylinder", sc2, 8, 4500, exposed),
				),
			},
			{
				name: "breakaway", cycles: every(2, 30, 180),
				lines: both("breakaway cylinder", sc2, 12, 860, 0),
			},
			{
				name: "pump", cycles: every(70, 15, 205),
				lines: one("pump outlet to arm valve", sp4, 19, 780, 0),
			},
			tank(
				one("tank to pump, suction", sn1, 51, 620, 0),
				one("flail motor, return", sn1, 25, 4300, exposed),
				one("flail motor drain", r6, 12, 4200, exposed),
				one("valve to cooler", sn1, 25, 950, 0),
				one("cooler to tank", sn1, 25, 720, 0),
			),
		},
	}
}

func backhoe() *kind {
	return &kind{
		name: "backhoe loader", fluidC: 68,
		note: "Invented duty of trench work, a tenth of it with the hammer.",
		circuits: []*circuit{
			{
				name: "backhoe", policy: makersLimit, hours: 4000, cycles: every(120, 5, 225),
				lines: all(
					both("boom cylinder", sp4, 12, 1850, exposed),
					both("dipper cylinder", sp4, 12, 2300, exposed),
					both("bucket cylinder", sn2, 12, 2750, exposed),
					sides("slew cylinder", sn2, 12, 1080, 0),
				),
			},
			{
				name: "stabilisers", cycles: every(4, 0, 200),
				lines: sides("stabiliser cylinder", sn2, 10, 1620, 0),
			},
			{
				name: "loader", cycles: every(30, 5, 215),
				lines: all(
					sides("loader lift cylinder", sn2, 12, 1340, 0),
					sides("loader tilt cylinder", sn2, 12, 1910, exposed),
					both("bucket clamp cylinder", sc2, 10, 2280, exposed),
				),
			},
			{
				name: "hammer", cycles: every(330, 0, 208), hours: 5100,
				lines: one("hammer, supply", sn2, 19, 3900, exposed),
			},
			{
				name: "steering", cycles: every(90, 5, 160),
				lines: sides("steering cylinder", sc2, 10, 760, 0),
			},
			{
				name: "pump", cycles: every(150, 15, 228),
				lines: all(
					one("pump outlet to loader valve", sp4, 25, 1240, 0),
					one("pump outlet to backhoe valve", r12, 25, 2900, 0),
					one("load sensing line", sc2, 6, 1500, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 51, 540, 0),
				one("loader valve to return filter", sn1, 31, 1180, 0),
				one("backhoe valve to return filter", sn1, 31, 2860, 0),
				one("hammer, return", sn1, 19, 3900, exposed),
				one("return filter to cooler", sn1, 25, 960, 0),
				one("pump case drain", r6, 12, 720, 0),
			),
		},
	}
}

func wheelLoader() *kind {
	return &kind{
		name: "wheel loader", fluidC: 69,
		note: "Invented duty of loading salt and spoil; the gearbox cooler lines run hot.",
		circuits: []*circuit{
			{
				name: "loading", cycles: every(55, 5, 228),
				lines: all(
					sides("lift cylinder", sp4, 16, 1250, exposed),
					both("tilt cylinder", sp4, 16, 1620, exposed),
					both("third function", sn2, 12, 2400, exposed),
					both("quick hitch lock cylinder", sc2, 8, 2600, exposed),
				),
			},
			{
				name: "steering", cycles: every(110, 5, 175),
				lines: sides("steering cylinder", sn2, 12, 820, 0),
			},
			{
				name: "gearbox cooler", fluidC: 92, hot: 0.075, cycles: every(4, 2, 22),
				lines: all(
					one("gearbox to cooler", sn1, 19, 1900, 0),
					one("cooler to gearbox", sn1, 19, 1750, 0),
				),
			},
			{
				name: "brakes", cycles: every(70, 0, 130),
				lines: all(
					one("brake valve to front axle", sc2, 6, 1450, 0),
					one("brake valve to rear axle", sc2, 6, 2700, 0),
				),
			},
			{
				name: "pump", cycles: every(55, 15, 232),
				lines: all(
					one("pump outlet to main valve", sp4, 25, 1380, 0),
					one("load sensing line", sc2, 6, 1720, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 51, 480, 0),
				one("main valve to return filter", sn1, 31, 1090, 0),
				one("return filter to cooler", sn1, 31, 1300, 0),
				one("pump case drain", r6, 12, 690, 0),
			),
		},
	}
}

func chipper() *kind {
	return &kind{
		name: "wood chipper", fluidC: 55,
		note: "Invented duty: the feed reverses with every branch.",
		circuits: []*circuit{
			{
				name: "feed", cycles: every(100, 0, 150),
				lines: all(
					turns("upper feed roller motor", "forward", "reverse", sc2, 12, 1150, exposed),
					turns("lower feed roller motor", "forward", "reverse", sc2, 12, 890, 0),
					both("feed roller lift cylinder", sc2, 8, 760, 0),
				),
			},
			tank(
				one("tank to pump, suction", sn1, 31, 430, 0),
				one("feed valve to tank, return", sn1, 19, 980, 0),
			),
		},
	}
}
