package exchange

import (
	"slices"
	"strings"

	"hoseward/internal/register"
)

// Measure is what a field measures; it decides which units its cells and its
// header may carry.
type Measure string

// The measures. NoMeasure is text, a date, a number without unit.
const (
	NoMeasure    Measure = ""
	Pressures    Measure = "pressure"
	Lengths      Measure = "length"
	Temperatures Measure = "temperature"
	HoursMeasure Measure = "hours"
)

// Field is one column a sheet can have.
type Field struct {
	// Name is the stable name, in snake_case with the unit where it has one.
	Name string
	// Title heads the column in exports; it is read back as a header.
	Title string
	// Kinds are the sheets that can have it.
	Kinds []register.ImportKind
	// Words are the headers it goes by, lower case, without units.
	Words   []string
	Measure Measure
	// Help is one sentence for the manual and for whoever chooses a meaning.
	Help string

	text  bool // holds words, not a number or a date
	date  bool
	read  func(*builder, cell)
	write func(*register.ImportRow) string
}

// Fields lists the fields a sheet of that kind can have, in the order the
// export writes them.
func Fields(kind register.ImportKind) []Field {
	var of []Field
	for _, f := range allFields() {
		if slices.Contains(f.Kinds, kind) {
			of = append(of, f)
		}
	}
	return of
}

// FieldNamed is the field of that name in sheets of that kind.
func FieldNamed(kind register.ImportKind, name string) (Field, bool) {
	for _, f := range Fields(kind) {
		if f.Name == name {
			return f, true
		}
	}
	return Field{}, false
}

// Kinds lists the kinds of sheets, in the order a register is filled: hoses
// come last, because the hours at their fitting are held to the readings and
// to the days a meter was replaced.
func Kinds() []register.ImportKind {
	return []register.ImportKind{register.ImportMachines, register.ImportReadings, register.ImportHoses}
}

var (
	inMachines = []register.ImportKind{register.ImportMachines}
	inHoses    = []register.ImportKind{register.ImportHoses}
	inReadings = []register.ImportKind{register.ImportReadings}
	inBoth     = []register.ImportKind{register.ImportMachines, register.ImportHoses}
	inAll      = []register.ImportKind{register.ImportMachines, register.ImportHoses, register.ImportReadings}
)

func words(list string) []string { return strings.Split(list, "|") }

// allFields is the table. The words are headers that the trade and ordinary
// offices use, in English and German; common practice, no source.
func allFields() []Field {
	return slices.Concat(machineFields(), positionFields(), hoseFields(), placementFields(), serviceFields(), readingFields())
}

// machineFields and hoseFields are long because they are tables: a field is
// one entry, and a reader looks for one.
func machineFields() []Field {
	return []Field{
		nameField("site", "Site", inBoth,
			"site|depot|location|yard|plant|works|standort|werk|betriebshof|niederlassung|betrieb|bauhof",
			"Where the machine belongs; a name the register lacks is added.", func(r *register.ImportRow) *string {
				if r.Machine != nil {
					return &r.Machine.Site
				}
				return &r.Hose.Site
			}),
		nameField("machine", "Machine", inAll,
			"machine|machine code|machine no|machine number|machine id|code|unit|unit no|unit number|fleet no|fleet number|vehicle|vehicle no|equipment|equipment no|equipment number|equipment id|equip|equip no|equip id|unit id|plant no|"+
				"maschine|maschinennr|maschinen nr|maschinennummer|maschinen id|geraet|geraetenummer|geraete nr|fahrzeug|fahrzeug nr|fahrzeugnummer|kennzeichen|inventarnummer|inventar nr|anlage",
			"What people call the machine; it is known by this.", func(r *register.ImportRow) *string {
				switch {
				case r.Machine != nil:
					return &r.Machine.Code
				case r.Hose != nil:
					return &r.Hose.Machine
				}
				return &r.Reading.Machine
			}),
		textField("machine_name", "Machine name", inBoth,
			"machine name|machine description|name|description|bezeichnung|maschinenbezeichnung|maschinenname|geraetebezeichnung|benennung|model|modell",
			"Its name or model.", func(r *register.ImportRow) *string {
				if r.Machine != nil {
					return &r.Machine.Name
				}
				return &r.Hose.MachineName
			}),
		nameField("machine_kind", "Machine kind", inBoth,
			"machine kind|kind|kind of machine|machine type|vehicle type|equipment type|category|maschinenart|maschinentyp|geraeteart|geraetetyp|fahrzeugart|fahrzeugtyp|art|kategorie|gattung",
			"What kind of machine it is; its starting conditions come from the kind.", func(r *register.ImportRow) *string {
				if r.Machine != nil {
					return &r.Machine.Kind
				}
				return &r.Hose.Kind
			}),
		textField("serial", "Serial number", inMachines,
			"serial number|serial|serial no|sn|vin|chassis|chassis no|pin|seriennummer|serien nr|fahrgestellnummer|fahrgestell nr|fabriknummer|fabrik nr|fin",
			"Its serial number.", func(r *register.ImportRow) *string { return &r.Machine.Serial }),
		numberField("planned_hours_per_week", "Planned hours per week", inMachines, HoursMeasure, 168,
			"planned hours per week|hours per week|weekly hours|hours week|h week|stunden pro woche|stunden je woche|wochenstunden|std woche|h woche|betriebsstunden pro woche|geplante stunden pro woche",
			"Running hours per week, used until readings say better.", func(r *register.ImportRow) **float64 { return &r.Machine.PlannedHoursPerWeek }),
		boolField("can_hurt", "Burst can hurt someone", inBoth,
			"burst can hurt someone|can hurt|people at risk|danger to people|near people|safety critical|critical|personengefaehrdung|gefahr fuer personen|sicherheitskritisch|sicherheitsrelevant|personen im bereich",
			"Yes if a burst there can hurt someone.", func(r *register.ImportRow) **bool {
				if r.Machine != nil {
					return &r.Machine.CanHurt
				}
				return &r.Hose.CanHurt
			}),
		textField("site_zone", "Time zone of site", inMachines, "time zone of site|time zone|timezone|zeitzone",
			"Time zone of the site, such as Europe/Berlin; used where the site is new.", func(r *register.ImportRow) *string { return &r.Machine.SiteZone }),
		nameField("site_policy", "Policy of site", inMachines, "policy of site|site policy",
			"Policy of the site; used where the site is new.", func(r *register.ImportRow) *string { return &r.Machine.SitePolicy }),
		limitsField("site_policy_limits", "Limits of site policy", inMachines, "limits of site policy", func(r *register.ImportRow) **register.Policy { return &r.Machine.SitePolicyLimits }),
		saidField("duty", "Duty of kind", inMachines, "duty of kind", "The starting conditions of its kind, as the export writes them; used where the register has none.",
			func(r *register.ImportRow) *[]register.SaidRow { return &r.Machine.Duty }),
		saidField("machine_said", "Service conditions of machine", inMachines, "service conditions of machine", "How the machine and its circuits are worked, as the export writes it.",
			func(r *register.ImportRow) *[]register.SaidRow { return &r.Machine.Said }),
		laidUpField(),
		textField("machine_note", "Machine note", inMachines, "machine note|note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|notiz|notizen|kommentar|hinweis|anmerkung",
			"Anything else about the machine.", func(r *register.ImportRow) *string { return &r.Machine.Note }),
	}
}

func positionFields() []Field {
	hose := func(at func(*register.HoseRow) *string) func(*register.ImportRow) *string {
		return func(r *register.ImportRow) *string { return at(r.Hose) }
	}
	return []Field{
		nameField("circuit", "Circuit", inHoses, "circuit|system|function|hydraulic circuit|kreis|kreislauf|hydraulikkreis|funktion|baugruppe",
			"Hydraulic circuit: lift, steering, return.", hose(func(h *register.HoseRow) *string { return &h.Circuit })),
		nameField("position", "Position", inHoses, "position|pos|position no|position name|hose position|location on machine|location on unit|loc on unit|loc on machine|loc|hose location|place|mounting position|where|where it sits|where fitted|sits at|einbauort|einbaustelle|einbaulage|einbauposition|stelle|platz|schlauchposition|positionsnummer|pos nr|verwendungsstelle",
			"The place on the machine where the hose belongs; known by this name within its machine.", hose(func(h *register.HoseRow) *string { return &h.Position })),
		intField("walk_order", "Walking order", inHoses, "walking order|walk order|order|sequence|reihenfolge|rundgang",
			"Sorts the positions as one walks round the machine.", func(r *register.ImportRow) **int { return &r.Hose.WalkOrder }),
		boolField("exposed", "Exposed", inHoses, "exposed|abrasion|chafing|exponiert|scheuergefahr|freiliegend|scheuerstelle",
			"Yes if exposed to abrasion, flexing, vibration, salt or hot spots.", func(r *register.ImportRow) **bool { return &r.Hose.Exposed }),
		boolField("twisted", "Twisted", inHoses, "twisted|twist|verdreht|verdrehung|torsion",
			"Yes if the hose is twisted as routed.", func(r *register.ImportRow) **bool { return &r.Hose.Twisted }),
		nameField("policy", "Policy", inHoses, "policy|replacement policy|demand|beanspruchung|anforderung|regel|wechselregel",
			"The policy of the position, where it is not the site's.", hose(func(h *register.HoseRow) *string { return &h.Policy })),
		limitsField("policy_limits", "Limits of policy", inHoses, "limits of policy|policy limits", func(r *register.ImportRow) **register.Policy { return &r.Hose.PolicyLimits }),
		lengthField("position_length_mm", "Position length", inHoses, "position length|required length|soll laenge|solllaenge",
			"Length of the assembly that belongs there.", func(r *register.ImportRow) **float64 { return &r.Hose.PositionMM }),
		lengthField("bend_mm", "Bend radius", inHoses, "bend radius|bending radius|radius|biegeradius",
			"Tightest bend radius as routed.", func(r *register.ImportRow) **float64 { return &r.Hose.BendMM }),
		lengthField("straight_mm", "Straight length", inHoses, "straight length|straight|gerade laenge|gerades stueck",
			"Straight length behind the fitting as routed.", func(r *register.ImportRow) **float64 { return &r.Hose.StraightMM }),
		textField("position_note", "Position note", inHoses, "position note|bemerkung zur position|hinweis zur position",
			"Anything else about the position.", hose(func(h *register.HoseRow) *string { return &h.PositionNote })),
	}
}

func hoseFields() []Field {
	hose := func(at func(*register.HoseRow) *string) func(*register.ImportRow) *string {
		return func(r *register.ImportRow) *string { return at(r.Hose) }
	}
	return []Field{
		nameField("assembly", "Assembly", inHoses, "assembly|assembly code|assembly no|assembly id|hose code|hose no|hose number|hose id|tag no|leitung|leitungsnummer|leitungs nr|schlauchnummer|schlauch nr|schlauch id|schlauchleitung|schlauchleitungsnummer|schlauchleitung nr",
			"Code of the assembly; it is known by this. Without one, by position and fit date.", hose(func(h *register.HoseRow) *string { return &h.Code })),
		textField("layline", "Layline", inHoses, "layline|lay line|printed line|print|marking|hose marking|imprint|text on hose|writing on hose|writing|printed on hose|lettering|aufdruck|kennzeichnung|schlauchkennzeichnung|beschriftung|schlauchaufdruck|praegung",
			"The line printed on the hose; fills designation, size, rating, maker and date where their own cells are empty.", hose(func(h *register.HoseRow) *string { return &h.Layline })),
		textField("maker", "Maker", inHoses, "maker|hose maker|manufacturer|hose manufacturer|make|brand|hersteller|schlauchhersteller|fabrikat|marke",
			"Maker as printed on the hose.", hose(func(h *register.HoseRow) *string { return &h.Maker })),
		textField("designation", "Designation", inHoses, "designation|hose type|type|type of hose|standard|spec|specification|hose spec|norm|schlauchtyp|typ|schlauchart|schlauch|schlauchnorm|ausfuehrung",
			"Such as EN 853 2SN or 100R2AT.", hose(func(h *register.HoseRow) *string { return &h.Designation })),
		textField("construction", "Construction", inHoses, "construction|reinforcement|aufbau|einlage|drucktraeger|verstaerkung",
			"Wire braid, wire spiral, textile, thermoplastic.", hose(func(h *register.HoseRow) *string { return &h.Construction })),
		textField("tube", "Tube", inHoses, "tube|tube material|inner tube|liner|seele|innenseele|innenschicht|material innen|schlauchmaterial",
			"Material of the inner tube, such as NBR.", hose(func(h *register.HoseRow) *string { return &h.Tube })),
		textField("fluid", "Fluid", inHoses, "fluid|medium|oil|fluessigkeit|druckfluessigkeit|oel",
			"What flows through it; empty is mineral oil.", hose(func(h *register.HoseRow) *string { return &h.Fluid })),
		{
			Name: "size", Title: "Size", Kinds: inHoses, Words: words("size|hose size|bore|nominal size|nominal bore|groesse|schlauchgroesse|durchmesser|nenngroesse|innendurchmesser"),
			Help: "Size in words that can mean only one: DN 12, -8, 1/2 in.", read: readSize(sizeAny),
		},
		{
			Name: "dn", Title: "DN", Kinds: inHoses, Words: words("dn|nw|nennweite|dn mm|size dn"),
			Help: "Size as DN; 12 and 13 are the same.", read: readSize(sizeDN), write: writeDN,
		},
		{
			Name: "dash", Title: "Dash", Kinds: inHoses, Words: words("dash|dash size|dash no|size dash|dash groesse"),
			Help: "Size in sixteenths of an inch.", read: readSize(sizeDash), write: writeDash,
		},
		{
			Name: "inch", Title: "Inch", Kinds: inHoses, Words: words("inch|inches|size inch|zoll|inch size|zollgroesse"),
			Help: "Size in inches.", read: readSize(sizeInch),
		},
		{
			Name: "rated_bar", Title: "Rating (bar)", Kinds: inHoses, Measure: Pressures,
			Words: words("rating|rated|rated pressure|wp|mwp|max wp|working pressure rating|max working pressure|maximum working pressure|pressure rating|hose rating|pressure|" +
				"druck|nenndruck|max betriebsdruck|zulaessiger betriebsdruck|zul betriebsdruck|zul druck|max druck|maximaldruck|druckstufe|pn|bar|psi|mpa"),
			Help: "Maximum working pressure of the hose; one printed in the layline wins.", read: readRating,
			write: func(r *register.ImportRow) string { return printNumber(r.Hose.RatedBar) },
		},
		wordField("rating_source", "Rating from", inHoses, "rating from|rating source|druck aus|quelle druck",
			"printed, typed or table; typed if empty.", ratingSources(), func(r *register.ImportRow) *register.RatingSource { return &r.Hose.RatingSource }),
		temperatureField("max_c", "Highest temperature of hose", inHoses, "highest temperature of hose|max temperature|max temp|temperature limit|max fluid temperature|temperaturgrenze|zulaessige temperatur|max temperatur|temperaturbestaendigkeit",
			"Highest fluid temperature the hose is made for.", func(r *register.ImportRow) **float64 { return &r.Hose.MaxC }),
		lengthField("length_mm", "Length", inHoses, "length|overall length|assembly length|hose length|total length|lgth|laenge|gesamtlaenge|schlauchlaenge|leitungslaenge|nl|oal",
			"Overall length of the assembly.", func(r *register.ImportRow) **float64 { return &r.Hose.LengthMM }),
		textField("end_a", "End A", inHoses, "end a|end 1|fitting a|fitting 1|connection a|connection 1|armatur 1|armatur a|armatur links|anschluss 1|anschluss a|ende a|ende 1",
			"Kind of the first end.", hose(func(h *register.HoseRow) *string { return &h.EndA })),
		pressureField("end_a_bar", "Rating of end A", inHoses, "rating of end a|rating end a|end a rating|end a pressure|druck armatur 1|druck armatur a|druck ende a",
			"Rating of the first end.", func(r *register.ImportRow) **float64 { return &r.Hose.EndABar }),
		textField("end_b", "End B", inHoses, "end b|end 2|fitting b|fitting 2|connection b|connection 2|armatur 2|armatur b|armatur rechts|anschluss 2|anschluss b|ende b|ende 2",
			"Kind of the second end.", hose(func(h *register.HoseRow) *string { return &h.EndB })),
		pressureField("end_b_bar", "Rating of end B", inHoses, "rating of end b|rating end b|end b rating|end b pressure|druck armatur 2|druck armatur b|druck ende b",
			"Rating of the second end.", func(r *register.ImportRow) **float64 { return &r.Hose.EndBBar }),
		textField("end_make", "Maker of ends", inHoses, "maker of ends|fitting maker|fitting manufacturer|maker of fittings|hersteller armatur|hersteller armaturen|armaturenhersteller",
			"Maker of the ends, where it is not the hose's.", hose(func(h *register.HoseRow) *string { return &h.EndMake })),
		codeDateField("made", "Hose made", "hose made|made|date of manufacture|manufacture date|manufactured|manufacturing date|date made|dom|hose date|date code|hose date code|herstelldatum|herstellungsdatum|herstelldatum schlauch|produktionsdatum|schlauch hergestellt|baujahr schlauch|schlauchdatum|herst datum|fertigungsdatum|quartal",
			"When the hose was made: 3Q24, 11/2024, 2024-11-25, or the code as printed.", false),
		textField("made_text", "Hose made as printed", inHoses, "hose made as printed|date code as printed|herstelldatum wie gedruckt",
			"The date code as it stands on the hose.", hose(func(h *register.HoseRow) *string { return &h.MadeText })),
		boolField("made_ambiguous", "Made has two readings", inHoses, "made has two readings|made ambiguous|datum mehrdeutig",
			"Yes if the date code can be read in two ways.", func(r *register.ImportRow) **bool { return &r.Hose.MadeAmbiguous }),
		codeDateField("assembled", "Assembled", "assembled|assembly date|date assembled|assembly made|built|build date|crimped|crimp date|stamp|ferrule stamp|konfektioniert|konfektionierdatum|konfektionsdatum|konfektionierung|leitung hergestellt|herstelldatum leitung|herstelldatum schlauchleitung|pressdatum|verpresst|baujahr leitung|huelsenpraegung|stempel",
			"When the assembly was made, or the stamp on the ferrule, year before month: 1606.", true),
		textField("assembled_text", "Assembled as stamped", inHoses, "assembled as stamped|stamp as printed|praegung wie gestempelt",
			"The stamp as it stands on the assembly.", hose(func(h *register.HoseRow) *string { return &h.AssembledText })),
		boolField("unconfirmed", "Identity unconfirmed", inHoses, "identity unconfirmed|unconfirmed|measured only|nicht bestaetigt|unbestaetigt",
			"Yes if what it is was found by measuring, not by reading.", func(r *register.ImportRow) **bool { return &r.Hose.Unconfirmed }),
		textField("note", "Note", inHoses, "note|notes|hose note|remark|remarks|comment|comments|bemerkung|bemerkungen|notiz|notizen|kommentar|hinweis|anmerkung|anmerkungen",
			"Anything else about the assembly.", hose(func(h *register.HoseRow) *string { return &h.Note })),
		nameField("kept_at", "Kept at", inHoses, "kept at|store|warehouse|lager|lagerort",
			"Site that keeps it while in store, where it is not the machine's.", hose(func(h *register.HoseRow) *string { return &h.KeptAt })),
	}
}
