package hose

import (
	"fmt"
	"strings"

	"hoseward/internal/quantity"
)

// maxText is how many bytes of a line are looked at; a layline has a hundred.
const maxText = 8192

// maxNotes bounds the notes on noise.
const maxNotes = 24

// Layline is what a printed line says. What is not printed, or cannot be read
// without guessing, is empty, and a note says so.
type Layline struct {
	Kind Kind // the line of a hose, or the stamp of an assembly

	Standard    string // the first standard printed: "EN 853", "ISO 1436-2"; empty if none
	Standards   []string
	Designation Designation // the first one printed
	// Designations has all, where a hose is printed with several standards.
	Designations []Designation

	Size Size // zero if not printed or if it has several readings
	// SizeReadings has all readings where Size could not be settled, else the
	// one.
	SizeReadings []SizeReading

	// RatedBar is the maximum working pressure printed, the lower one where
	// two differ; nil if none is printed. Burst and test pressures are none.
	RatedBar  *float64
	Pressures []Printed // everything printed, burst and test pressures too

	// Made is the earliest reading of the date of manufacture.
	Made         quantity.Period
	MadeReadings []DateReading

	Ambiguous bool // date or size has more than one reading
	Notes     []string

	words    []string // what was not read as anything, first words of the line first
	dnName   bool     // the nominal bore is printed
	sizeName bool     // a dash or inch size is printed
	burst    bool     // the line speaks of a burst pressure
}

// ReadLayline reads the line printed along a hose, or the stamp of an
// assembly, without knowing the day; see ReadLaylineBy.
func ReadLayline(text string) Layline { return ReadLaylineBy(text, quantity.Date{}) }

// ReadLaylineBy reads a printed line: standard, designation, size, pressure
// and date, in any order and spelling. Dates that begin after notAfter are not
// believed, unless notAfter is no date. Only the first 8192 bytes are read.
// The work grows in step with the text.
//
// A line without any standard or type is taken for the stamp of an assembly,
// where a code of four digits is year and month first. The examples and traps
// it is held to are in TestReadLayline_Examples and TestReadLayline_Traps.
func ReadLaylineBy(text string, notAfter quantity.Date) Layline {
	var l Layline
	if len(text) > maxText {
		text = text[:maxText]
		l.note("only the first %d bytes were read", maxText)
	}
	lexemes := lex(text)

	types := typeReader{lexemes: lexemes}
	types.read()
	l.takeTypes(&types)

	dates := dateReader{lexemes: lexemes, kind: l.Kind, notAfter: notAfter}
	dates.strong()

	sizes := sizeReader{lexemes: lexemes}
	l.takeDashes(&types, &sizes)
	sizes.named()

	pressures := pressureReader{lexemes: lexemes}
	pressures.read()
	l.RatedBar = pressures.rating()
	l.Pressures = pressures.printed()
	l.burst = pressures.burst

	l.takeSize(&types, &sizes)
	dates.weak()
	l.takeDate(&dates)
	l.notes(pressures.notes)
	l.compare()
	l.takeWords(lexemes)
	return l
}

func (l *Layline) note(format string, args ...any) {
	if len(l.Notes) < maxNotes {
		l.Notes = append(l.Notes, fmt.Sprintf(format, args...))
	}
}

func (l *Layline) notes(all []string) {
	for _, n := range all {
		l.note("%s", n)
	}
}

func (l *Layline) takeTypes(r *typeReader) {
	l.Kind = Bulk
	l.Standards = r.standards
	if len(r.standards) > 0 {
		l.Standard = r.standards[0]
	}
	for _, t := range r.types {
		l.Designations = append(l.Designations, t.Designation)
	}
	l.notes(r.notes)
	switch {
	case len(r.types) > 0:
		l.Designation = r.types[0].Designation
		if l.Standard == "" {
			l.Standard = l.Designation.Standard
			l.note("no standard is printed; %s is where %s is defined", l.Standard, l.Designation.Type)
		}
		if len(r.types) > 1 {
			l.note("printed with several designations: %s", joined(l.Designations))
		}
	case l.Standard != "":
		l.note("%s is printed without a type", l.Standard)
	default:
		l.Kind = Assembly
		l.note("no standard or type is printed: read as the stamp of an assembly")
	}
}

func joined(all []Designation) string {
	words := make([]string, len(all))
	for i, d := range all {
		words[i] = d.String()
	}
	return strings.Join(words, ", ")
}

// takeDashes hands the dash numbers of SAE types to the size reader.
func (l *Layline) takeDashes(types *typeReader, sizes *sizeReader) {
	for _, d := range types.dashes {
		s, ok := SizeOfDash(d.dash)
		if d.tube {
			s, ok = TubeSize(d.dash)
			if ok {
				l.note("100R5 and 100R14 are sized by tube: -%d has a bore of DN %d", d.dash, s.DN)
			}
		}
		if !ok {
			l.note("-%d is no size known here for this type", d.dash)
			continue
		}
		sizes.dash = true
		sizes.found.add(s, fmt.Sprintf("dash %d", d.dash))
	}
}

func (l *Layline) takeSize(types *typeReader, sizes *sizeReader) {
	readings := sizes.found.agreed()
	l.dnName, l.sizeName = sizes.dn, sizes.dash || sizes.inch
	for _, u := range sizes.unknown {
		l.note("%s is no size known here", u)
	}
	bare := -1
	for i := 0; i < len(types.types) && bare < 0; i++ {
		bare = sizes.bareAfter(types.types[i].at + 1)
	}
	switch {
	case len(readings) > 1:
		l.note("the sizes printed contradict one another: %s", either(readings))
	case len(readings) == 0 && bare >= 0:
		readings = l.bareSize(types.lexemes[bare].text)
		types.lexemes[bare].used = true
	case bare >= 0:
		// The number beside a named size is its second name if it can be.
		for _, b := range bareSize(types.lexemes[bare].text) {
			if b.Size == readings[0].Size {
				types.lexemes[bare].used = true
			}
		}
	}
	l.SizeReadings = readings
	switch len(readings) {
	case 0:
		if l.Kind == Bulk {
			l.note("no size was found")
		}
	case 1:
		l.Size = readings[0].Size
	default:
		l.Ambiguous = true
	}
}

// bareSize settles a number without a name behind a type. EN and ISO hose is
// marked with its nominal bore, SAE hose with its dash number; that reading is
// taken, and said, unless the pressure printed fits only the other one.
func (l *Layline) bareSize(text string) []SizeReading {
	readings := bareSize(text)
	if len(readings) < 2 {
		return readings
	}
	expected, other := readings[0], readings[1]
	rule := "EN and ISO hose is marked with its nominal bore"
	if l.Designation.Standard == sae {
		expected, other = other, expected
		rule = "SAE hose is marked with its dash number"
	}
	if l.fits(other.Size) && !l.fits(expected.Size) {
		l.note("%q can be %s: %s, but the pressure printed fits the other", text, either(readings), rule)
		return readings
	}
	note := fmt.Sprintf("%q is read as %s: %s", text, expected.As, rule)
	if l.fits(expected.Size) && !l.fits(other.Size) {
		note += "; the pressure printed fits it and not " + other.As
	}
	l.note("%s", note)
	return []SizeReading{expected}
}

// fits reports whether the pressure printed is a published rating of one of
// the designations in that size.
func (l *Layline) fits(s Size) bool {
	if l.RatedBar == nil {
		return false
	}
	for _, d := range l.Designations {
		rows, _ := Lookup(d.String(), s)
		if c, ok := Choose(rows, l.RatedBar); ok && c.Agrees {
			return true
		}
	}
	return false
}

func (l *Layline) takeDate(r *dateReader) {
	code := r.code()
	l.Made, l.MadeReadings = code.Made, code.Readings
	l.Ambiguous = l.Ambiguous || code.Ambiguous
	l.notes(code.Notes)
	l.notes(r.notes)
	if l.Made.IsZero() {
		l.note("no date of manufacture was found")
	}
}

// Row is the published row for the line: of all its designations in its size
// the one that goes with the pressure printed, or else the lowest.
func (l Layline) Row() (Choice, bool) {
	var rows []Row
	for _, d := range l.Designations {
		r, _ := Lookup(d.String(), l.Size)
		rows = append(rows, r...)
	}
	return Choose(rows, l.RatedBar)
}

// compare notes how the pressure printed stands to the published one.
func (l *Layline) compare() {
	if l.Kind == Assembly {
		return
	}
	if l.RatedBar == nil {
		l.note("no rating is printed")
		if l.Size.IsZero() {
			return
		}
	}
	c, ok := l.Row()
	switch {
	case !ok:
	case c.Note != "":
		l.note("%s", c.Note)
	case l.RatedBar == nil:
		l.note("the table has %s for %s %s", c.Row.Rated().FormatRating(quantity.Bar), c.Row.Designation, c.Row.Size)
	}
}

func (l *Layline) takeWords(lexemes []lexeme) {
	for _, x := range lexemes {
		if len(l.words) == maxNotes {
			return
		}
		if x.kind == word && !x.used && len([]rune(x.text)) > 1 {
			l.words = append(l.words, x.text)
		}
	}
}
