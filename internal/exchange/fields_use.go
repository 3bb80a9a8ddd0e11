package exchange

import (
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func placementFields() []Field {
	return []Field{
		{
			Name: "fitted", Title: "Fitted", Kinds: inHoses, date: true,
			Words: words("fitted|fit date|put on|date put on|fitting date|date fitted|install|installed|installed on|install date|date installed|installation date|in service since|in service|mounted|einbau|einbaudatum|eingebaut|eingebaut am|einbau am|verbaut|verbaut am|montiert|montiert am|in betrieb seit|inbetriebnahme|getauscht am|gewechselt am|letzter wechsel|letzter tausch"),
			Help:  "The day it was fitted; of a month or quarter the first day counts.", read: readFitted,
			write: func(r *register.ImportRow) string { return printPeriod(r.Hose.Fitted) },
		},
		textField("fitted_text", "Fitted as written", inHoses, "fitted as written|einbau wie notiert",
			"The fit date as it was written where it is not a day.", func(r *register.ImportRow) *string { return &r.Hose.FittedText }),
		hoursField("fitted_hours", "Hours at fitting", inHoses, "hours at fitting|hours fitted|fitted hours|meter at fitting|hour meter at fitting|hours when fitted|bh einbau|bh bei einbau|stunden bei einbau|betriebsstunden einbau|betriebsstunden bei einbau|zaehlerstand einbau|zaehlerstand bei einbau|h einbau",
			"Hour meter when it was fitted.", func(r *register.ImportRow) **float64 { return &r.Hose.FittedHours }),
		dateField("removed", "Removed", inHoses, "removed|removal date|date removed|taken off|taken off on|off|replaced on|ausbau|ausbaudatum|ausgebaut|ausgebaut am|demontiert|demontiert am",
			"The day it came off; empty while it sits there.", func(r *register.ImportRow) *quantity.Date { return &r.Hose.Removed }),
		hoursField("removed_hours", "Hours at removal", inHoses, "hours at removal|hours removed|removed hours|meter at removal|bh ausbau|bh bei ausbau|stunden bei ausbau|betriebsstunden ausbau|zaehlerstand ausbau|zaehlerstand bei ausbau",
			"Hour meter when it came off.", func(r *register.ImportRow) **float64 { return &r.Hose.RemovedHours }),
		causeField(wordField("cause", "Cause", inHoses, "cause|cause of removal|failure mode|failure|reason code|ursache|ausfallursache|ausbauursache|schadensursache",
			"planned, heat, pressure, assembly, outside or unknown.", causeWords(), func(r *register.ImportRow) *register.Cause { return &r.Hose.Cause })),
		wordField("found_by", "Found by", inHoses, "found by|how found|found at|festgestellt bei|festgestellt durch|entdeckt durch",
			"event or inspection.", foundWords(), func(r *register.ImportRow) *register.FoundBy { return &r.Hose.FoundBy }),
		textField("reason", "Reason of removal", inHoses, "reason of removal|reason|why removed|reason for removal|grund|ausbaugrund|wechselgrund",
			"Why it came off, in words.", func(r *register.ImportRow) *string { return &r.Hose.Reason }),
		textField("seen", "Seen on hose", inHoses, "seen on hose|seen|damage|what was seen|schaden|schadensbild|befund",
			"What was seen on the hose when it came off.", func(r *register.ImportRow) *string { return &r.Hose.Seen }),
		boolField("scrapped", "Scrapped", inHoses, "scrapped|scrap|disposed|verschrottet|entsorgt|ausgesondert",
			"Yes if it was thrown away, no if it went back in store; yes if empty.", func(r *register.ImportRow) **bool { return &r.Hose.Scrapped }),
		dateField("last_inspection", "Last inspection", inHoses, "last inspection|last inspected|inspected|inspection date|inspected on|last check|letzte pruefung|geprueft am|pruefdatum|letzte sichtpruefung|pruefung am|letzte inspektion",
			"The day it was last inspected.", func(r *register.ImportRow) *quantity.Date { return &r.Hose.LastInspection }),
		inspectionsField(),
	}
}

func serviceFields() []Field {
	return []Field{
		pressureField("min_bar", "Lowest pressure", inHoses, "lowest pressure|min pressure|pmin|minimum pressure|cycle min|min druck|mindestdruck|unterdruck",
			"Lowest pressure of a cycle.", func(r *register.ImportRow) **float64 { return &r.Hose.MinBar }),
		pressureField("max_bar", "Highest pressure", inHoses, "highest pressure|peak pressure|pmax|max system pressure|cycle max|peak|spitzendruck|druckspitze|hoechster druck",
			"Highest pressure of a cycle.", func(r *register.ImportRow) **float64 { return &r.Hose.MaxBar }),
		numberField("cycles_per_hour", "Cycles per hour", inHoses, NoMeasure, 1e6, "cycles per hour|cycles hour|cycles h|pressure cycles per hour|lastwechsel pro stunde|zyklen pro stunde|lastspiele pro stunde|lastwechsel h|zyklen h",
			"Pressure cycles in a running hour.", func(r *register.ImportRow) **float64 { return &r.Hose.CyclesPerHour }),
		boolField("no_cycles", "No pressure cycles", inHoses, "no pressure cycles|no cycles|keine druckwechsel",
			"Yes for a line that sees no pressure cycles, such as a return line.", func(r *register.ImportRow) **bool { return &r.Hose.NoCycles }),
		pressureField("working_bar", "Working pressure", inHoses, "operating pressure|system pressure|working pressure|arbeitsdruck|systemdruck|anlagendruck",
			"Pressure it works at, where no cycles are known; not its rating.", func(r *register.ImportRow) **float64 { return &r.Hose.WorkingBar }),
		temperatureField("fluid_c", "Fluid temperature", inHoses, "fluid temperature|oil temperature|oil temp|fluid temp|temperature|temp|oeltemperatur|oeltemp|mediumtemperatur|temperatur|betriebstemperatur",
			"Temperature of the fluid at work.", func(r *register.ImportRow) **float64 { return &r.Hose.FluidC }),
		temperatureField("surroundings_c", "Surroundings", inHoses, "surroundings|ambient|ambient temperature|ambient temp|umgebung|umgebungstemperatur|umgebungstemp",
			"Temperature around the hose at work.", func(r *register.ImportRow) **float64 { return &r.Hose.SurroundingsC }),
		boolField("always_hot", "Always hot", inHoses, "always hot|hot around the clock|immer heiss|dauernd heiss",
			"Yes if the surroundings are hot around the clock.", func(r *register.ImportRow) **bool { return &r.Hose.AlwaysHot }),
		pressureField("adapter_bar", "Adapter rating", inHoses, "adapter rating|adapter pressure|adapter|druck adapter|adapterdruck",
			"Rating of an adapter at the position.", func(r *register.ImportRow) **float64 { return &r.Hose.AdapterBar }),
		basisField(wordField("conditions_basis", "Conditions are", inHoses, "conditions are|conditions basis|basis|werte sind|grundlage",
			"measured, recorded (the cycles come from a pressure log) or assumed; assumed if empty.", basisWords(), func(r *register.ImportRow) *register.Basis { return &r.Hose.ConditionsBasis })),
		saidField("position_said", "Service conditions of position", inHoses, "service conditions of position", "All that was said of how the position is worked, as the export writes it.",
			func(r *register.ImportRow) *[]register.SaidRow { return &r.Hose.Said }),
	}
}

func readingFields() []Field {
	return []Field{
		dateField("on", "Date", inReadings, "date|reading date|read on|on|day|date of reading|datum|ablesedatum|abgelesen am|tag|ablesung|ablesung am|stand vom",
			"The day of the reading.", func(r *register.ImportRow) *quantity.Date { return &r.Reading.On }),
		hoursField("hours", "Hours", inReadings, "hours|hour meter|meter|meter reading|engine hours|running hours|reading|hour meter reading|operating hours|smu|betriebsstunden|stunden|stand|zaehlerstand|bh|std|bstd|betriebsstundenzaehler|bh stand|stundenstand",
			"What the hour meter showed.", func(r *register.ImportRow) **float64 { return &r.Reading.Hours }),
		hoursField("new_start", "New meter starts at", inReadings, "new meter starts at|new meter start|new meter|meter replaced starts at|neuer zaehler|neuer zaehler beginnt bei|stand neuer zaehler",
			"Set where the meter was replaced or rolled over that day: where the new one began; Hours is then where the old one ended.", func(r *register.ImportRow) **float64 { return &r.Reading.NewStart }),
		textField("source", "Source", inReadings, "source|read by|quelle|abgelesen von",
			"Where the reading is from.", func(r *register.ImportRow) *string { return &r.Reading.Source }),
		boolField("disputed", "Disputed", inReadings, "disputed|doubtful|strittig|zweifelhaft",
			"Yes if the reading is kept but not counted.", func(r *register.ImportRow) **bool { return &r.Reading.Disputed }),
		textField("reading_note", "Note", inReadings, "note|notes|remark|remarks|comment|bemerkung|bemerkungen|notiz|kommentar|anmerkung",
			"Anything else about the reading.", func(r *register.ImportRow) *string { return &r.Reading.Note }),
	}
}

func ratingSources() []wordMeaning[register.RatingSource] {
	return []wordMeaning[register.RatingSource]{
		{register.RatingPrinted, "printed|gedruckt|aufdruck|layline"},
		{register.RatingTyped, "typed|entered|eingegeben|angabe"},
		{register.RatingTable, "table|tabelle|norm|standard"},
	}
}

func causeWords() []wordMeaning[register.Cause] {
	return []wordMeaning[register.Cause]{
		{register.CausePlanned, "planned|preventive|by date|scheduled|age|geplant|vorbeugend|turnus|fristablauf|alter|intervall"},
		{register.CauseHeat, "heat|hardened|cracked|charred|hitze|verhaertet|rissig|versproedet|verkohlt"},
		{register.CausePressure, "pressure|burst|leak in hose|hose leak|broken wires|druck|geplatzt|platzer|drahtbruch|undicht schlauch"},
		{register.CauseAssembly, "assembly|fitting|fitting slip|leak at fitting|slipped|armatur|einbindung|armatur undicht|ausgerissen"},
		{register.CauseOutside, "outside|external|cut|crushed|chafed|pulled|abrasion|aussen|gescheuert|scheuerstelle|gequetscht|schnitt|abrieb"},
		{register.CauseUnknown, "unknown|worn|worn out|leak|leaking|unbekannt|verschlissen|verschleiss|undicht|leckage"},
	}
}

func foundWords() []wordMeaning[register.FoundBy] {
	return []wordMeaning[register.FoundBy]{
		{register.FoundByEvent, "event|failure|breakdown|in service|ausfall|im betrieb|stoerung"},
		{register.FoundByInspection, "inspection|check|inspected|pruefung|inspektion|sichtpruefung|wartung"},
	}
}

// recordedWords say that cycles were not only measured but come from a log.
const recordedWords = "recorded|logged|aufgezeichnet|geloggt"

// basisField also reads and writes whether the cycles were recorded.
func basisField(f Field) Field {
	known, plain := f.read, f.write
	f.read = func(b *builder, c cell) {
		for _, w := range words(recordedWords) {
			if headerKey(c.text) == w {
				yes := true
				b.row.Hose.ConditionsBasis, b.row.Hose.Recorded = register.Measured, &yes
				return
			}
		}
		known(b, c)
	}
	f.write = func(r *register.ImportRow) string {
		if h := r.Hose; h.Recorded != nil && *h.Recorded && h.ConditionsBasis == register.Measured {
			return "recorded"
		}
		return plain(r)
	}
	return f
}

func basisWords() []wordMeaning[register.Basis] {
	return []wordMeaning[register.Basis]{
		{register.Measured, "measured|gemessen"},
		{register.Assumed, "assumed|estimated|guess|angenommen|geschaetzt"},
	}
}
